"""What is proposed as the answer to an open point of a map, and where that comes from. Never taken without being asked."""

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from staddle.estate.cellkinds import CellKind, kind_of
from staddle.estate.columns import Column, Table
from staddle.estate.export import Export
from staddle.estate.headingunit import heading_unit, is_loose, unit_factor
from staddle.estate.sources import OPEN, ColumnSource, TableMap

__all__ = ["Proposal", "proposal_for"]

_PRACTICE: Final = "common practice, no source"
_NUMBER: Final = re.compile(r"\d+(?:\.\d+)?")


@dataclass(frozen=True, slots=True)
class Proposal:
    """A proposed answer and its origin; both "" where nothing sensible can be proposed."""

    text: str = ""
    origin: str = ""


# Common practice, no source.
_VALUES: Final = {
    ("host", "reserved_memory"): Proposal(
        "10 %", f"{_PRACTICE}: a host keeps 5 to 10 % of its memory for itself"
    ),
    ("host", "vcpu_per_core"): Proposal(
        "4", f"{_PRACTICE}: four where guests idle at times; 1 or 2 where they seldom do"
    ),
    ("pool", "floor"): Proposal("15 %", f"{_PRACTICE}: a pool that runs full stops all that stands on it"),
}

# Between which bytes all amounts of a column lie that is commonly met. Common practice, no source; used only where one
# single unit puts every cell in between.
_PLAUSIBLE: Final = {
    ("host", "memory"): (8 * 2**30, 32 * 2**40),
    ("host", "reserved_memory"): (2**30, 2**40),
    ("guest", "memory"): (128 * 2**20, 8 * 2**40),
    ("guest", "disk"): (10**9, 200 * 10**12),
    ("pool", "capacity"): (100 * 10**9, 50 * 10**15),
}


def proposal_for(table: Table, column: Column, key: str, export: Export, found: TableMap) -> Proposal:
    """The proposal for one open point. Args: key: "from", "unit", "separator" or "decimal"."""
    source = next((one for one in found.sources if one.column == column.heading), None)
    if key == "unit" and source is not None:
        return _unit(table, column, export, source)
    if key == "decimal":
        settled = [one for one in found.sources if one.decimal not in ("", OPEN)]
        if settled and len({one.decimal for one in settled}) == 1:
            return Proposal(settled[0].decimal, f'as in their column "{settled[0].headings[0]}"')
    if key == "from" and source is not None and source.value == OPEN:
        return _VALUES.get((table.noun, column.heading), Proposal())
    return Proposal()


def _unit(table: Table, column: Column, export: Export, source: ColumnSource) -> Proposal:
    kind = kind_of(column)
    if kind is CellKind.PERCENT:
        numbers = _numbers(export, source)
        # 0 to 1 may be shares, for which there is no unit: they have to be mended in the export.
        return (
            Proposal("%", "none of the numbers is a share of 1")
            if numbers and min(numbers) > 1
            else Proposal()
        )
    named = next((unit for heading in source.headings if (unit := heading_unit(heading))), "")
    if named and is_loose(named):
        return Proposal(f"{named[0].upper()}iB", f"{_PRACTICE}: memory is counted in powers of 1024")
    numbers = _numbers(export, source)
    low, high = _PLAUSIBLE.get((table.noun, column.heading), (0, 0))
    units = ("B", "MiB", "GiB", "TiB") if kind is CellKind.MEMORY else ("B", "MB", "GB", "TB")
    fitting = [
        unit
        for unit in units
        if numbers and all(low <= n * (unit_factor(unit) or 1) <= high for n in numbers)
    ]
    if len(fitting) == 1 and high:
        return Proposal(fitting[0], f"{_PRACTICE}: every other unit makes the amounts unlikely")
    return Proposal()


def _numbers(export: Export, source: ColumnSource) -> list[Fraction]:
    """The bare numbers above 0 of the column; [] where one has a sign that can be read in two ways."""
    if len(source.headings) != 1 or source.headings[0] not in export.headings:
        return []
    position = export.headings.index(source.headings[0])
    texts = [row.cells[position].text for row in export.rows if row.cells[position].text]
    if not all(_NUMBER.fullmatch(text) for text in texts):
        return []
    return [number for text in texts if (number := Fraction(text)) > 0]
