"""Options that every command has."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from staddle.jobs.folder import JobFolder, find_job

__all__ = ["Options"]


@Parameter(name="*")
@dataclass(frozen=True)
class Options:
    """Options that every command has."""

    job: Path = Path(".")
    "The job folder."
    json: Annotated[bool, Parameter(negative=())] = False
    "Print one JSON document (docs/json.md) instead of text."
    yes: Annotated[bool, Parameter(negative=())] = False
    "Answer questions with yes; never covers destruction."

    def folder(self) -> JobFolder:
        """The job folder. Raises: InputRefused: there is none."""
        return find_job(self.job)
