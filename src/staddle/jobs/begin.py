"""begin: a new job folder with a commented design and its schema."""

import os
from pathlib import Path

from staddle.addressing.ranges import parse_address, parse_prefix
from staddle.design.profile import NO_PROFILE
from staddle.design.questions import BeginAnswers, NetworkAnswer
from staddle.design.reader import read_design
from staddle.design.schema import SCHEMA_FILE, schema_text
from staddle.design.starter import starter_text
from staddle.estate.tables import survey_estate
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.package import look_into_package
from staddle.jobs.profiles import installed_profiles
from staddle.kernel import InputRefused, NotAllowed, StaddleError
from staddle.kernel.likeness import did_you_mean

__all__ = [
    "begin",
    "machines_of_package",
    "networks_of_package",
    "refuse_begun",
    "refuse_unknown_network",
    "refuse_unknown_profile",
    "seen_from_job",
]


def refuse_begun(root: Path) -> None:
    """Raises: NotAllowed: there is a design already. To be asked before a person answers eight questions for nothing."""
    design = JobFolder(root=root.resolve()).design
    if design.exists():
        raise NotAllowed.one(
            "there is a design already", where=str(design), mend="edit it, or begin in another folder"
        )


def seen_from_job(root: Path, written: str) -> str:
    """A path as the design writes it: seen from the job folder.

    What is there seen from where the person stands, and is not there seen from the job folder, was meant from here.

    Args: root: the job folder, which need not be there yet.
    """
    if (root.resolve() / written).resolve().exists() or not Path(written).exists():
        return written
    return os.path.relpath(written, root.resolve())


def machines_of_package(root: Path, written: str) -> tuple[str, ...]:
    """Ids of the machines that the package holds, in its order; never ().

    Args: written: the package's path, seen from the job folder.
    Raises: OutsideFailed, InputRefused: there is no such package, or its descriptor has faults.
    """
    report = look_into_package((root.resolve() / written).resolve(), verify=False)
    return (report.package.name, *(other.name for other, _ in report.others))


def networks_of_package(root: Path, written: str, machine: str = "") -> tuple[str, ...]:
    """Names of the package's networks; of one machine of several only those that it is attached to in some size.

    Args: written: the package's path, seen from the job folder; machine: its id, "" for the only one.
    Raises: OutsideFailed, InputRefused: there is no such package or machine, or the descriptor has faults.
    """
    package = look_into_package((root.resolve() / written).resolve(), machine=machine, verify=False).package
    if len(package.machines) == 1:
        return package.networks
    used = {adapter.network for hardware in package.hardware for adapter in hardware.adapters}
    return tuple(name for name in package.networks if name in used)


def refuse_unknown_network(root: Path, estate: str, answer: NetworkAnswer) -> None:
    """Held against the estate's tables where they are there and can be read; they may be written later.

    Args: estate: its folder, seen from the job folder.
    Raises: InputRefused: the estate has no network of that name, or the address is none of it.
    """
    try:
        networks = survey_estate((root.resolve() / estate).resolve()).estate.networks
    except StaddleError:
        return  # whatever is wrong with them, staddle estate and staddle review tell it
    names = [network.name for network in networks]
    found = next((network for network in networks if network.name == answer.estate), None)
    if found is None:
        raise InputRefused.one(
            f'the estate has no network "{answer.estate}"',
            why="its networks are " + ", ".join(names) if names else "it has no networks",
            mend=did_you_mean(answer.estate, names) or "name one of these, or add it to the estate's tables",
        )
    prefix = parse_prefix(found.prefix)
    if parse_address(answer.first) not in prefix:
        raise InputRefused.one(
            f"{answer.first} is not an address of {found.name}",
            why=f"its prefix is {prefix}",
            mend="give an address of that network",
        )


def refuse_unknown_profile(written: str) -> None:
    """Raises: InputRefused: neither an installed profile, the name of a YAML file, nor "none". That file may be written later."""
    installed = installed_profiles()
    if written not in (*installed, NO_PROFILE) and not written.endswith((".yaml", ".yml")):
        raise InputRefused.one(
            f'there is no profile "{written}"',
            why="installed are: " + ", ".join(installed),
            mend="name one of these, or a YAML file beside design.yaml (docs/profiles.md), or none: nobody wrote it yet",
        )


def begin(root: Path, answers: BeginAnswers) -> JobFolder:
    """Write the folder.

    Returns: the job folder, whose design reads without a fault.
    Raises: NotAllowed: there is a design already; InputRefused: an answer is none; nothing was changed.
    """
    refuse_begun(root)
    folder = JobFolder(root=root.resolve())
    text = starter_text(answers)
    read_design(text, where="design.yaml")  # what flags gave is judged before anything is made
    folder.make()
    write_text(folder.root / SCHEMA_FILE, schema_text())
    write_text(folder.design, text)
    return folder
