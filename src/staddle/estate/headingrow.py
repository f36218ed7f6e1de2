"""Which row of a grid holds the headings: the one in which most cells are words that head a column of this table.

Titles, days and blank rows above it are passed over. Headings may take two rows, the upper one spread over several
columns ("Memory" over "installed" and "reserved"); both are then read as one. Nothing is read from the body here.
"""

import re
from typing import Final

from staddle.estate.columns import Table
from staddle.estate.export import Export, ExportCell, ExportRow, Grid, plain_key
from staddle.estate.headingunit import without_unit
from staddle.estate.tradewords import TRADE_WORDS
from staddle.kernel import InputRefused

__all__ = ["find_headings", "headed"]

_FIRST_ROWS: Final = 40  # a title block is shorter; further down a row that looks like headings is data
_WORDY: Final = re.compile(r"[^\W\d]")

Row = tuple[int, tuple[ExportCell, ...]]


def headed(table: Table, grid: Grid, path: str) -> tuple[Export, int]:
    """The grid with its headings found, and how many of them are known words. 0 means that they were not found.

    Example: headed(HOSTS, grid, "list.csv")[0].headings == ("Host", "RAM (GiB)")
    """
    words = {plain_key(word) for row in TRADE_WORDS[table.noun].values() for word in row}
    best, at, deep, texts = 0, 0, 1, [cell.text for cell in grid.rows[0][1]] if grid.rows else []
    for index, row in enumerate(grid.rows[:_FIRST_ROWS]):
        single = [cell.text for cell in row[1]]
        known = _known(single, words)
        if known > best:
            best, at, deep, texts = known, index, 1, single
        if index + 1 < len(grid.rows) and (double := _joined(row, grid.rows[index + 1], words)):
            known = _known(double, words)
            if known > best:
                best, at, deep, texts = known, index, 2, double
    headings = tuple(_printable(text) for text in texts)
    while headings and not headings[-1]:
        headings = headings[:-1]
    rows, too_wide = [], []
    for line, cells in grid.rows[at + deep :]:
        if any(cell.text for cell in cells[len(headings) :]):
            too_wide.append(line)
        body = (*cells, *(ExportCell("") for _ in headings))[: len(headings)]
        again = [cell.text for cell in body] == [text.strip() for text in texts[: len(headings)]]
        if not again and any(cell.text or cell.doubt for cell in body):
            rows.append(ExportRow(line=line, cells=body))
    line = grid.rows[at][0] if grid.rows else 1
    return Export(
        path=path,
        form=grid.form,
        sheet=grid.sheet,
        heading_line=line + deep - 1,
        headings=headings,
        rows=tuple(rows),
        too_wide=tuple(too_wide),
    ), best


def find_headings(table: Table, grids: tuple[Grid, ...], path: str, *, sheet: str = "") -> Export:
    """The export of the grid that fits the table best: of the named sheet, or of the one with most known headings.

    Raises: InputRefused: no such sheet, nothing in the file, or no row that looks like headings.
    """
    chosen = [grid for grid in grids if not sheet or grid.sheet == sheet]
    if not chosen:
        names = ", ".join(f'"{grid.sheet}"' for grid in grids if grid.sheet)
        what = f'there is no sheet "{sheet}" with text in it' if sheet else "the export holds nothing"
        raise InputRefused.one(what, where=path, mend=f"the sheets are {names}" if names else "")
    found, known = max((headed(table, grid, path) for grid in chosen), key=lambda item: item[1])
    if known == 0:
        raise InputRefused.one(
            f"no row of the first {_FIRST_ROWS} looks like the headings of {table.noun}s",
            where=path,
            why="not one cell is a word that commonly heads a column of such a table",
            mend="rename one heading, for example the one of the names to "
            f'"{TRADE_WORDS[table.noun]["name"][1]}", and take the export again',
        )
    return found


def _known(texts: list[str], words: set[str]) -> int:
    return len({key for text in texts if (key := plain_key(without_unit(text))) in words})


def _joined(upper: Row, lower: Row, words: set[str]) -> list[str] | None:
    """Two rows as one, None where the lower one does not look like headings."""
    if lower[0] != upper[0] + 1 or not all(
        _WORDY.match(cell.text.lstrip("([")) for cell in lower[1] if cell.text
    ):
        return None
    above = ""
    texts = []
    width = max(len(upper[1]), len(lower[1]))
    tops = [*(cell.text for cell in upper[1]), *[""] * width][:width]
    lows = [*(cell.text for cell in lower[1]), *[""] * width][:width]
    for top, low in zip(tops, lows, strict=True):
        above = top or (above if low else "")
        own = plain_key(without_unit(low)) in words and not top
        texts.append(low if own and plain_key(above) not in words else f"{above} {low}".strip())
    return texts


def _printable(text: str) -> str:
    return " ".join("".join(c if c.isprintable() or c.isspace() else " " for c in text).split())
