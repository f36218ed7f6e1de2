"""One CSV file to rows, with the line of each and every fault of the file. No references between tables here.

A row that holds a fault yields no value but still counts as known by its name, so that one wrong cell does not
bring a crowd of "unknown host" after it.
"""

import csv
import io
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from staddle.estate.columns import NO_DEFAULT, Column, Table
from staddle.kernel import Fault, Finding, InputRefused, Severity
from staddle.kernel.likeness import did_you_mean

__all__ = ["KeptAside", "Row", "TableRows", "read_rows"]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptAside:
    """A column that this program has no use for: its heading and its cells in the order of the rows."""

    file: str
    heading: str
    cells: tuple[str, ...]


@dataclass(slots=True)
class Row:
    """One row: its line (1 is the headings), its name ("" if blank), its value (None if it holds a fault)."""

    line: int
    name: str
    value: Any


@dataclass(slots=True)
class TableRows:
    """What was found in one file. ``complete`` says whether it was read to its end: only then is a name unknown."""

    table: Table
    path: Path
    rows: list[Row]
    faults: list[Fault]
    findings: list[Finding]
    aside: tuple[KeptAside, ...] = ()
    complete: bool = False

    def place(self, line: int, heading: str) -> str:
        """file:row:column-name, as every fault tells it."""
        return f"{self.path}:{line}:{heading}"


def read_rows(folder: Path, table: Table) -> TableRows:
    """All rows of one file. Never raises for what the file holds: the faults are in the result."""
    found = TableRows(table=table, path=folder / table.file, rows=[], faults=[], findings=[])
    content = _content(found)
    if content is None:
        return found
    reader = csv.reader(io.StringIO(content, newline=""), strict=True)
    try:
        headings = [cell.strip() for cell in next(reader, [])]
        columns = _columns(found, headings)
        if not found.faults:
            _read_body(found, reader, headings, columns)
            found.complete = True
    except csv.Error as exc:
        found.faults.append(
            Fault(
                what=f"row {reader.line_num} is not CSV: {exc}",
                where=f"{found.path}:{reader.line_num}",
                mend="look for a quotation mark that is not closed; save the table again as CSV",
            )
        )
    return found


def _content(found: TableRows) -> str | None:
    try:
        # utf-8-sig takes the byte order mark that spreadsheets write, and does without one as well.
        return found.path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        if not found.table.needed:
            found.complete = True
            return None
        fault = Fault(
            what=f"the table of {found.table.noun}s is missing",
            where=str(found.path),
            mend="make the file; its headings are " + ", ".join(c.heading for c in found.table.columns),
        )
    except OSError as exc:
        fault = Fault(what=f"the file cannot be read: {exc.strerror}", where=str(found.path))
    except UnicodeDecodeError as exc:
        line = exc.object.count(b"\n", 0, exc.start) + 1
        fault = Fault(
            what=f"byte {exc.start + 1} of the file is not UTF-8",
            where=f"{found.path}:{line}",
            mend='save the table as "CSV UTF-8"',
        )
    found.faults.append(fault)
    return None


def _columns(found: TableRows, headings: list[str]) -> list[Column | None]:
    """The column of each heading, None for unknown ones. Faults: missing and doubled headings."""
    known = {column.heading: column for column in found.table.columns}
    keys = ["_".join(heading.casefold().split()) for heading in headings]
    strangers = [heading for heading, key in zip(headings, keys, strict=True) if key not in known]
    for heading in sorted({key for key in keys if keys.count(key) > 1 and key in known}):
        found.faults.append(
            Fault(
                what=f'the heading "{heading}" stands twice', where=found.place(1, heading), mend="keep one"
            )
        )
    missing = [c.heading for c in found.table.columns if c.needed and c.heading not in keys]
    if missing and len(headings) == 1 and ";" in headings[0]:
        found.faults.append(
            Fault(
                what='the columns are separated by ";"',
                where=f"{found.path}:1",
                why='";" separates the names of a list inside a cell',
                mend="save the table with commas between the columns",
            )
        )
        return []
    for heading in missing:
        found.faults.append(
            Fault(
                what=f'the column "{heading}" is missing',
                where=f"{found.path}:1",
                mend=did_you_mean(heading, strangers, saying="is it the column {}?")
                or f'add the heading "{heading}"',
            )
        )
    absent = [heading for heading in known if heading not in keys]
    if not missing:
        near = {heading: did_you_mean(heading, absent) for heading in strangers if heading}
        found.findings += [_aside(found, (heading,), mend) for heading, mend in near.items() if mend]
        # All others are one finding: an export has a dozen of them, and worse findings must not drown in them.
        if others := tuple(heading for heading, mend in near.items() if not mend):
            found.findings.append(_aside(found, others, ""))
    return [known.get(key) for key in keys]


def _aside(found: TableRows, headings: tuple[str, ...], mend: str) -> Finding:
    told = ", ".join(f'"{heading}"' for heading in headings)
    one = len(headings) == 1
    return Finding(
        rule="unknown-column",
        severity=Severity.NOTE,
        what=f"the column {told} is kept aside: it is not one of the headings of {found.table.file}"
        if one
        else f"the columns {told} are kept aside: they are not among the headings of {found.table.file}",
        where=found.place(1, headings[0]) if one else f"{found.path}:1",
        why=f"nothing is computed from {'it' if one else 'them'}",
        mend=mend,
    )


def _read_body(found: TableRows, reader: Any, headings: list[str], columns: list[Column | None]) -> None:  # noqa: ANN401  csv's reader has no public type
    # Cells repeat (sizes, hosts, pools): each distinct text of a column is read once. 55 000 rows need this.
    used: list[tuple[int, Column, dict[str, Any]]] = [
        (position, column, {}) for position, column in enumerate(columns) if column is not None
    ]
    absent = {c.field: c.blank for c in found.table.columns if c not in columns}
    kept: dict[int, list[str]] = {i: [] for i, column in enumerate(columns) if column is None and headings[i]}
    name_position = next(position for position, column, _ in used if column.heading == "name")
    end = reader.line_num
    for texts in reader:
        line, end = end + 1, reader.line_num
        if not any(texts):
            continue
        if len(texts) != len(headings):
            found.faults.append(
                Fault(
                    what=f"the row has {len(texts)} cells, there are {len(headings)} headings",
                    where=f"{found.path}:{line}",
                    mend="put a cell that holds a comma in quotation marks",
                )
            )
            texts = [*texts, *[""] * len(headings)]
            found.rows.append(Row(line, texts[name_position].strip(), None))
            continue
        row = Row(line, texts[name_position].strip(), None)
        found.rows.append(row)
        for position, saved in kept.items():
            saved.append(texts[position])
        faults_before = len(found.faults)
        values = dict(absent)
        for position, column, memory in used:
            cell = texts[position].strip()
            try:
                values[column.field] = memory[cell]
            except KeyError:
                try:
                    values[column.field] = memory[cell] = _value(column, cell)
                except InputRefused as exc:
                    found.faults.append(_placed(found, row, column.heading, exc.faults[0]))
        if len(found.faults) == faults_before:
            value = found.table.kind(**values)
            complaints = list(found.table.check(value))
            found.faults += [_placed(found, row, heading, fault) for heading, fault in complaints]
            row.value = None if complaints else value
    found.aside = tuple(
        KeptAside(file=found.table.file, heading=headings[position], cells=tuple(saved))
        for position, saved in kept.items()
    )


def _value(column: Column, cell: str) -> object:
    if cell:
        return column.read(cell)
    if column.blank is NO_DEFAULT:
        raise InputRefused.one("the cell is blank", why="every row needs it", mend="fill it in")
    return column.blank


def _placed(found: TableRows, row: Row, heading: str, fault: Fault) -> Fault:
    named = f'{found.table.noun} "{row.name}", {heading}' if row.name else heading
    return replace(fault, what=f"{named}: {fault.what}", where=found.place(row.line, heading))
