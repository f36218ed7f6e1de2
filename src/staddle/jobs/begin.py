"""begin: a new job folder with a commented design and its schema."""

from pathlib import Path

from staddle.design.questions import BeginAnswers
from staddle.design.schema import SCHEMA_FILE, schema_text
from staddle.design.starter import starter_text
from staddle.jobs.folder import JobFolder, write_text
from staddle.kernel import NotAllowed

__all__ = ["begin", "refuse_begun"]


def refuse_begun(root: Path) -> None:
    """Raises: NotAllowed: there is a design already. To be asked before a person answers eight questions for nothing."""
    design = JobFolder(root=root.resolve()).design
    if design.exists():
        raise NotAllowed.one(
            "there is a design already", where=str(design), mend="edit it, or begin in another folder"
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
