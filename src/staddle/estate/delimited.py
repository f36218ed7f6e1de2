"""A file of delimited text to a grid: the encoding and the sign between columns are found and told.

Each sign is tried on the whole file: the one that gives most rows of one width wins. csv.Sniffer looks at a sample and
is misled by titles above the table and by lists inside cells.
"""

import csv
import io
from collections import Counter
from pathlib import Path
from typing import Final

from staddle.estate.export import ExportCell, Grid
from staddle.kernel import InputRefused

__all__ = ["read_delimited"]

_SIGNS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
_UTF16: Final = (b"\xff\xfe", b"\xfe\xff")


def read_delimited(path: Path) -> Grid:
    """The rows of the file, blank ones left out.

    Raises: InputRefused: cannot be read, is no text, or a quotation mark is not closed.
    """
    try:
        content = path.read_bytes()
    except OSError as exc:
        raise InputRefused.one(f"the export cannot be read: {exc.strerror}", where=str(path)) from exc
    text, encoding = _decoded(content, path)
    best: tuple[int, int] = (0, 0)
    chosen, rows = "", None
    for sign in _SIGNS:
        found = _parsed(text, sign)
        if found is None:
            continue
        widths = Counter(len(cells) for _, cells in found if len(cells) > 1)
        width, many = max(widths.items(), key=lambda item: (item[1], item[0]), default=(0, 0))
        if rows is None or (many, width) > best:
            best, chosen, rows = (many, width), sign, found
    if rows is None:
        raise InputRefused.one(
            "the export is not CSV: a quotation mark is not closed, or stands inside a cell",
            where=str(path),
            mend="export the table again, or save it as XLSX",
        )
    kept = tuple(
        (line, tuple(ExportCell(cell.strip()) for cell in cells)) for line, cells in rows if any(cells)
    )
    return Grid(form=f"text in {encoding}, columns separated by {_SIGNS[chosen]}", sheet="", rows=kept)


def _decoded(content: bytes, path: Path) -> tuple[str, str]:
    if content.startswith(_UTF16):
        tries: tuple[tuple[str, str], ...] = (("utf-16", "UTF-16"),)
    elif content.startswith(b"\xef\xbb\xbf"):
        tries = (("utf-8-sig", "UTF-8 with a byte order mark"),)
    else:
        tries = (("utf-8", "UTF-8"), ("cp1252", "Windows-1252, since it is not UTF-8"))
    for encoding, told in tries:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\x00" not in text:
            return text, told
    raise InputRefused.one(
        "the export is not text in UTF-8, UTF-16 or Windows-1252",
        where=str(path),
        mend='save the table as "CSV UTF-8" or as XLSX',
    )


def _parsed(text: str, sign: str) -> list[tuple[int, list[str]]] | None:
    """Line and cells of every row, None where the text is not CSV with this sign."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=sign, strict=True)
    rows, end = [], 0
    try:
        for cells in reader:
            rows.append((end + 1, cells))
            end = reader.line_num
    except csv.Error:
        return None
    return rows
