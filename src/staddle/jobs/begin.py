"""begin: a new job folder with a commented design and its schema."""

import os
from pathlib import Path

from staddle.design.questions import BeginAnswers
from staddle.design.schema import SCHEMA_FILE, schema_text
from staddle.design.starter import starter_text
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.package import look_into_package
from staddle.jobs.profiles import installed_profiles
from staddle.kernel import InputRefused, NotAllowed

__all__ = ["begin", "networks_of_package", "refuse_begun", "refuse_unknown_profile", "seen_from_job"]


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


def networks_of_package(root: Path, written: str) -> tuple[str, ...]:
    """Names of the package's networks.

    Args: written: the package's path, seen from the job folder.
    Raises: OutsideFailed, InputRefused: there is no such package, or its descriptor has faults.
    """
    return look_into_package((root.resolve() / written).resolve(), verify=False).package.networks


def refuse_unknown_profile(written: str) -> None:
    """Raises: InputRefused: neither an installed profile nor the name of a YAML file. That file may be written later."""
    installed = installed_profiles()
    if written not in installed and not written.endswith((".yaml", ".yml")):
        raise InputRefused.one(
            f'there is no profile "{written}"',
            why="installed are: " + ", ".join(installed),
            mend="name one of these, or a YAML file beside design.yaml (docs/profiles.md)",
        )


def begin(root: Path, answers: BeginAnswers) -> JobFolder:
    """Write the folder.

    Returns: the job folder, whose design reads without a fault.
    Raises: NotAllowed: there is a design already; nothing was changed.
    """
    refuse_begun(root)
    folder = JobFolder(root=root.resolve())
    folder.make()
    write_text(folder.root / SCHEMA_FILE, schema_text())
    write_text(folder.design, starter_text(answers))
    return folder
