"""An export and its settled map to rows of our table: every doubtful, missing and contradictory cell at once.

What comes out is what reading one of our own files gives (rows.py), so that references between tables are checked the
same way, with the place in the export. Nothing is written here.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from staddle.estate.columnmap import SUM_WORDS
from staddle.estate.columns import NO_DEFAULT, Column, Table
from staddle.estate.deriving import Derived, single_of
from staddle.estate.domainkinds import TWOFOLD
from staddle.estate.export import Export, ExportCell, ExportRow, plain_key
from staddle.estate.rows import KeptAside, Row, TableRows
from staddle.estate.sources import OPEN, ColumnSource, TableMap
from staddle.estate.takencells import share_of_memory, taken_cell
from staddle.kernel import Fault, InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["take_rows"]


def take_rows(table: Table, export: Export, found: TableMap, *, derived: Derived | None = None) -> TableRows:
    """The rows of the export as our values; a row that holds a fault yields none. Never raises for what a cell holds.

    Columns of ours that the map leaves open ("?") are passed over and asked elsewhere.
    Args: derived: the domains of the rows, where they are derived and not looked up in a table.
    """
    rows = TableRows(table=table, path=Path(export.path), rows=[], faults=[], findings=[])
    places = _places(rows, export, found)
    rows.faults += [
        Fault(
            what=f"row {line} has text beyond the last heading",
            where=export.place(line, "").rstrip(":"),
            mend="give that column a heading, or remove the text",
        )
        for line in export.too_wide
    ]
    body = [row for row in export.rows if not _passed_over(row, places, found)]
    for row in body:
        rows.rows.append(_row(rows, export, found, row, places, derived))
    used = {position for _, positions in places.values() for position in positions}
    rows.aside = _aside(table, export, body, used)
    rows.complete = bool(places.get("name"))
    if derived is not None:
        rows.faults += derived.faults.get(table.noun, [])
    return rows


Places = dict[str, tuple[ColumnSource, tuple[int, ...]]]


def _places(rows: TableRows, export: Export, found: TableMap) -> Places:
    """Each of our columns with its source and the positions of its cells. Faults: headings that are not there."""
    keys = [plain_key(heading) or heading for heading in export.headings]
    places: Places = {}
    for source in found.sources:
        positions = []
        for heading in (h for h in source.headings if h != OPEN):
            at = [i for i, key in enumerate(keys) if key == (plain_key(heading) or heading)]
            exact = [i for i in at if export.headings[i] == heading]
            at = exact if len(exact) == 1 else at
            if len(at) == 1:
                positions.append(at[0])
                continue
            what = (
                f'the heading "{heading}" stands {len(at)} times'
                if at
                else f'there is no heading "{heading}"'
            )
            rows.faults.append(
                Fault(
                    what=f"{source.column}: {what}",
                    where=export.place(export.heading_line, heading),
                    mend="rename all but one of them"
                    if at
                    else did_you_mean(heading, export.headings)
                    or "mend columns.yaml, or export that column too",
                )
            )
        places[source.column] = (source, tuple(positions))
    for column in rows.table.columns:
        if column.heading not in places and (column.needed or column.blank is NO_DEFAULT):
            rows.faults.append(
                Fault(
                    what=f'the map of {found.table} has no column "{column.heading}"',
                    where=f"columns.yaml:{found.line}:{found.table}",
                    mend="name their heading, or give one value for all rows",
                )
            )
    return places


def _passed_over(row: ExportRow, places: Places, found: TableMap) -> bool:
    _, positions = places.get("name", (None, ()))
    return bool(positions) and row.cells[positions[0]].text in found.passed_over


def _row(
    rows: TableRows,
    export: Export,
    found: TableMap,
    row: ExportRow,
    places: Places,
    derived: Derived | None,
) -> Row:
    name = _name(row, places)
    values: dict[str, Any] = {}
    faults: list[tuple[str, Fault]] = []
    for column in rows.table.columns:
        values[column.field] = column.blank
        source, positions = places.get(column.heading, (None, ()))
        if source is None or OPEN in (*source.headings, source.value, source.unit, source.decimal):
            continue
        if source.kinds or source.site:
            if derived is not None and (rows.table.noun, row.line) in derived.placed:
                values[column.field] = derived.placed[rows.table.noun, row.line]
                continue
            if OPEN in (*source.kinds, source.site) or not source.kinds:
                continue
        if source.value is None and len(positions) < len(source.headings):
            continue  # its heading was not found, which is told once
        theirs = "+".join(export.headings[position] for position in positions) or column.heading
        try:
            values[column.field] = _value(rows.table, column, source, row, positions, values)
        except InputRefused as exc:
            faults.append((theirs, exc.faults[0]))
    if name.casefold().strip(":") in SUM_WORDS:
        fault = Fault(
            what=f'"{name}" looks like a row of sums, not like a {rows.table.noun}',
            mend=f'if it is one, write passed_over: ["{name}"] for {found.table} in columns.yaml',
        )
        faults = [("name", fault)]
    result = Row(row.line, name, None)
    if not faults and all(value is not NO_DEFAULT for value in values.values()):
        value = rows.table.kind(**values)
        faults += [(_theirs(heading, export, places), fault) for heading, fault in rows.table.check(value)]
        result.value = None if faults else value
    label = f'{rows.table.noun} "{name}", ' if name else ""
    rows.faults += [
        replace(fault, what=f"{label}{theirs}: {fault.what}", where=export.place(row.line, theirs))
        for theirs, fault in faults
    ]
    return result


def _theirs(heading: str, export: Export, places: Places) -> str:
    _, positions = places.get(heading, (None, ()))
    return "+".join(export.headings[position] for position in positions) or heading


def _name(row: ExportRow, places: Places) -> str:
    _, positions = places.get("name", (None, ()))
    return " ".join(row.cells[position].text for position in positions)


def _value(
    table: Table,
    column: Column,
    source: ColumnSource,
    row: ExportRow,
    positions: tuple[int, ...],
    before: Mapping[str, Any],
) -> object:
    if source.value is not None:
        cells: tuple[ExportCell, ...] = (ExportCell(source.value.strip()),)
    else:
        cells = _without_two(source, tuple(row.cells[position] for position in positions))
    share = share_of_memory(table, column, cells[0].text) if len(cells) == 1 and not cells[0].doubt else None
    if share is not None:
        memory_bytes = before["memory_bytes"]  # its column stands before this one
        # Where the memory itself is at fault, that is told, and this row yields nothing anyway.
        return _whole_mib(share * memory_bytes) if isinstance(memory_bytes, int) else 0
    text = taken_cell(table, source, column, cells)
    return column.read(text) if text else column.blank


def _without_two(source: ColumnSource, cells: tuple[ExportCell, ...]) -> tuple[ExportCell, ...]:
    """The cells, those of two different feeds or switches as blanks: with two a host stands in neither."""
    if not source.kinds:
        return cells
    single = {
        kind: single_of(cell.text for cell, own in zip(cells, source.kinds, strict=True) if own == kind)
        for kind in TWOFOLD
    }
    kept, seen = [], set[str]()
    for cell, kind in zip(cells, source.kinds, strict=True):
        drop = kind in TWOFOLD and (cell.text != single[kind] or kind in seen)
        kept.append(ExportCell("", cell.doubt) if drop else cell)
        seen.add(kind)
    return tuple(kept)


def _whole_mib(exact: Fraction) -> int:
    """Bytes, up to whole MiB: what is kept is a need."""
    mib = exact / 2**20
    return -(-mib.numerator // mib.denominator) * 2**20


def _aside(table: Table, export: Export, body: list[ExportRow], used: set[int]) -> tuple[KeptAside, ...]:
    """Columns without a use, with their cells as they are. A heading that would be taken for ours gets a mark."""
    ours = {plain_key(column.heading) for column in table.columns}
    many = Counter(plain_key(heading) for heading in export.headings)
    kept = []
    for position, heading in enumerate(export.headings):
        if position in used or not heading:
            continue
        clash = plain_key(heading) in ours or many[plain_key(heading)] > 1
        kept.append(
            KeptAside(
                file=table.file,
                heading=f"{heading} (theirs, {position + 1})" if clash else heading,
                cells=tuple(row.cells[position].text for row in body),
            )
        )
    return tuple(kept)
