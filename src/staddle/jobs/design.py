"""The design of a job folder alone, whatever else of the job can be read. The whole job is gather.py's."""

from staddle.design.model import Design
from staddle.design.reader import ReadDesign, read_design
from staddle.jobs.folder import JobFolder, read_text

__all__ = ["design_of", "design_with_places"]


def design_with_places(folder: JobFolder) -> ReadDesign:
    """The design, and which value stands on which line. Raises: InputRefused: every fault of the file."""
    return read_design(read_text(folder.design), where="design.yaml")


def design_of(folder: JobFolder) -> Design:
    """The design. Raises: InputRefused: every fault of the file."""
    return design_with_places(folder).design
