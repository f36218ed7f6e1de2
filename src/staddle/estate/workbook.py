"""A workbook (XLSX, ISO/IEC 29500) to grids, a sheet each. Formulas count by the result that was saved with them.

Read only, so a merged cell counts for its first row and column; what stands beside it is blank.
"""

import re
import warnings
import zipfile
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

from staddle.estate.export import ExportCell, Grid
from staddle.kernel import InputRefused

__all__ = ["is_workbook", "read_workbook"]

_MOST_BYTES: Final = 512 * 1024**2  # unpacked; about a million rows, and no archive that unpacks for ever
_OLD: Final = b"\xd0\xcf\x11\xe0"  # the compound file of old and of encrypted workbooks (from memory)
_QUOTED_UNIT: Final = re.compile(r'"\s*([KMGTP]i?B|B)\s*"')


def is_workbook(path: Path) -> bool:
    """Whether the file is a workbook by its first bytes: an archive, or the old form, which is refused later."""
    try:
        with path.open("rb") as file:
            return file.read(4) in (b"PK\x03\x04", _OLD)
    except OSError as exc:
        raise InputRefused.one(f"the export cannot be read: {exc.strerror}", where=str(path)) from exc


def read_workbook(path: Path) -> tuple[Grid, ...]:
    """Every sheet that holds text, in the order of the workbook. May be empty.

    Raises: InputRefused: not a workbook that can be read.
    """
    # Half a second to load, and only exports in this form need it.
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    if path.read_bytes()[:4] == _OLD:
        raise InputRefused.one(
            "the workbook is of the old form, or is encrypted",
            where=str(path),
            mend="open it and save it as XLSX without a password",
        )
    try:
        with zipfile.ZipFile(path) as archive:
            unpacked_bytes = sum(entry.file_size for entry in archive.infolist())
        if unpacked_bytes > _MOST_BYTES:
            raise InputRefused.one("the workbook unpacks to more than 512 MiB", where=str(path))
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and checks that it passes over are nothing to us
            results = load_workbook(path, read_only=True, data_only=True)
            formulas = load_workbook(path, read_only=True, data_only=False)
            grids = tuple(_grid(results[name], formulas[name]) for name in _sheets(results))
            results.close()
            formulas.close()
    except (
        OSError,
        KeyError,
        ValueError,
        TypeError,
        SyntaxError,
        InvalidFileException,
        zipfile.BadZipFile,
    ) as exc:
        raise InputRefused.one(
            f"the workbook cannot be read: {exc}", where=str(path), mend="save it again as XLSX, or as CSV"
        ) from exc
    return tuple(grid for grid in grids if grid.rows)


def _sheets(book: Any) -> list[str]:  # noqa: ANN401  a reader's own type
    return [sheet.title for sheet in book.worksheets]


def _grid(results: Any, formulas: Any) -> Grid:  # noqa: ANN401  a reader's own types
    rows = []
    for sheet in (results, formulas):
        sheet.reset_dimensions()  # what a writer put down as the sheet's size may be wrong
    pairs = zip(results.iter_rows(), formulas.iter_rows(), strict=True)
    for line, (found, written) in enumerate(pairs, start=1):
        cells = tuple(_cell(one, other) for one, other in zip(found, written, strict=True))
        if any(cell.text or cell.doubt for cell in cells):
            rows.append((line, cells))
    return Grid(form=f'workbook, sheet "{results.title}"', sheet=results.title, rows=tuple(rows))


def _cell(result: Any, formula: Any) -> ExportCell:  # noqa: ANN401  a reader's own types
    value = result.value
    if value is None:
        if formula.data_type == "f":
            return ExportCell("", "holds a formula without a saved result")
        return ExportCell("")
    if result.data_type == "e":
        return ExportCell(str(value), f"holds the error {value} of a formula")
    if isinstance(value, bool):
        return ExportCell(str(value).upper())
    if isinstance(value, int | float):
        return ExportCell(_number(value, str(result.number_format)))
    if isinstance(value, date | datetime | time | timedelta):
        return ExportCell(str(value), f"is a day or a time ({value}), perhaps made so by the spreadsheet")
    return ExportCell(str(value).strip())


def _number(value: float, shown_as: str) -> str:
    """A number as the sheet shows it as to its sign or unit: 0.15 shown as a percentage is "15 %"."""
    number = Decimal(repr(value))
    if shown_as.rstrip().endswith("%"):
        number, unit = number * 100, " %"
    else:
        match = _QUOTED_UNIT.search(shown_as)
        unit = f" {match[1]}" if match else ""
    # Fifteen digits are what a sheet keeps of a number; beyond them stand the traces of binary fractions.
    text = format(Decimal(f"{number:.15g}"), "f")
    return (text.rstrip("0").rstrip(".") if "." in text else text) + unit
