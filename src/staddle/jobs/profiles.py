"""Finding the profile that a design names: an installed one, or a YAML file beside the design."""

from importlib import resources

from staddle.appliances.checking import profile_faults
from staddle.design.profile import NO_PROFILE, Profile
from staddle.design.reader import read_model
from staddle.jobs.folder import JobFolder, read_text
from staddle.kernel import InputRefused

__all__ = ["installed_profiles", "load_profile"]


def installed_profiles() -> tuple[str, ...]:
    """Names of the profiles that come with the program, sorted."""
    folder = resources.files("staddle.appliances.profiles")
    return tuple(
        sorted(item.name.removesuffix(".yaml") for item in folder.iterdir() if item.name.endswith(".yaml"))
    )


def load_profile(name: str, folder: JobFolder) -> Profile | None:
    """The profile, checked; None where the design says that there is none yet.

    Raises: InputRefused: no such profile, or everything that is wrong with it.
    """
    if name == NO_PROFILE:
        return None
    if name in installed_profiles():
        where = f"profile {name}"
        text = (
            resources.files("staddle.appliances.profiles")
            .joinpath(f"{name}.yaml")
            .read_text(encoding="utf-8")
        )
    else:
        path = folder.beside_design(name)
        if not path.is_file():
            raise InputRefused.one(
                f'there is no profile "{name}"',
                where="package.profile",
                why="installed are: " + ", ".join(installed_profiles()),
                mend="name one of these, or a YAML file beside design.yaml, or none: nobody wrote it yet",
            )
        where, text = path.name, read_text(path)
    profile = read_model(text, Profile, where=where).value
    if faults := profile_faults(profile, where=where):
        raise InputRefused(*faults)
    return profile
