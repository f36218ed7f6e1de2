"""An export as it was read: its form in words, its headings and its rows as texts. No meaning in here (columnmap.py)."""

from dataclasses import dataclass

__all__ = ["Export", "ExportCell", "ExportRow", "Grid", "plain_key"]


@dataclass(frozen=True, slots=True)
class ExportCell:
    """One cell: its text without outer blanks, and why the text may not be what it seems ("" if it is)."""

    text: str
    doubt: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """A file or a sheet of it before its headings are found. Each row is (line from 1, cells)."""

    form: str
    sheet: str
    rows: tuple[tuple[int, tuple[ExportCell, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportRow:
    """One row below the headings: its line in the file or sheet, and as many cells as there are headings."""

    line: int
    cells: tuple[ExportCell, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Export:
    """A table of somebody else's. ``too_wide`` are lines with text beyond the last heading."""

    path: str
    form: str
    sheet: str
    heading_line: int
    headings: tuple[str, ...]
    rows: tuple[ExportRow, ...]
    too_wide: tuple[int, ...] = ()

    def place(self, line: int, heading: str) -> str:
        """file:row:column-name; the sheet stands with the file where there is one."""
        return f"{self.path}{f' [{self.sheet}]' if self.sheet else ''}:{line}:{heading}"


def plain_key(heading: str) -> str:
    """A heading without case, marks and doubled blanks, for comparing.

    Example: plain_key("Memory_(GB)") == "memory gb"
    """
    return " ".join("".join(c if c.isalnum() or c == "%" else " " for c in heading.casefold()).split())
