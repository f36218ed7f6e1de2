"""begin: a new job folder with a commented design and its schema."""

from pathlib import Path

from staddle.design.questions import BeginAnswers
from staddle.design.schema import SCHEMA_FILE, schema_text
from staddle.design.starter import starter_text
from staddle.jobs.folder import JobFolder, write_text
from staddle.kernel import NotAllowed

__all__ = ["begin"]


def begin(root: Path, answers: BeginAnswers) -> JobFolder:
    """Write the folder.

    Returns: the job folder, whose design reads without a fault.
    Raises: NotAllowed: there is a design already; nothing was changed.
    """
    folder = JobFolder(root=root.resolve())
    if folder.design.exists():
        raise NotAllowed.one(
            "there is a design already", where=str(folder.design), mend="edit it, or begin in another folder"
        )
    folder.make()
    write_text(folder.root / SCHEMA_FILE, schema_text())
    write_text(folder.design, starter_text(answers))
    return folder
