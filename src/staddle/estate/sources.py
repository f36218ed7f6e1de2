"""The map of an export's columns to ours: where each of our columns comes from, and how its cells are to be read.

Not here: how a map is proposed (columnmap.py), how it is kept (mapfile.py), how cells are read by it (takencells.py).
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

__all__ = ["OPEN", "ColumnSource", "Sureness", "TableMap", "open_questions"]

OPEN: Final = "?"


class Sureness(StrEnum):
    """How sure a proposal is. ``SURE``: word and cells agree; ``LIKELY``: one of them speaks for it; ``ASKED``: open."""

    SURE = "sure"
    LIKELY = "likely"
    ASKED = "asked"


@dataclass(frozen=True, slots=True, kw_only=True)
class ColumnSource:
    """Where one of our columns comes from: their headings in order, or one value for all rows.

    Args: unit: of bare numbers, "cell" for each cell's own, "?" while nobody has said; separator: of a list, "" for ";";
        decimal: "," or ".", "" where no cell holds a comma; blank: texts that mean nothing, in lower case;
        kinds: of a host's or pool's domains, one a heading, () where a table of domains tells them; site: the one site of all
        rows; within: kinds whose names count only within what they stand in; line: in the file of the map, 0 for a proposal.
    The sureness of what the file holds is not kept in it: read back, it is ``SURE``.
    """

    column: str
    headings: tuple[str, ...] = ()
    value: str | None = None
    unit: str = ""
    separator: str = ""
    decimal: str = ""
    blank: tuple[str, ...] = ()
    kinds: tuple[str, ...] = ()
    site: str = ""
    within: tuple[str, ...] = ()
    line: int = 0
    sureness: Sureness = Sureness.SURE
    reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class TableMap:
    """The map of one table. ``passed_over`` are names whose rows are no rows of the table, such as "Total".

    ``derived`` is not empty only for domains that were derived from the columns of those other tables.
    """

    table: str
    settled: bool
    sources: tuple[ColumnSource, ...]
    sheet: str = ""
    passed_over: tuple[str, ...] = ()
    derived: tuple[str, ...] = ()
    line: int = 0


def open_questions(found: TableMap) -> tuple[tuple[ColumnSource, str], ...]:
    """Each place at which the map still holds "?", with the name of its key. May be empty."""
    return tuple(
        (source, key)
        for source in found.sources
        for key, is_open in (
            ("heading", OPEN in source.headings),
            ("value", source.value == OPEN),
            ("unit", source.unit == OPEN),
            ("separator", source.separator == OPEN),
            ("decimal", source.decimal == OPEN),
            ("kinds", OPEN in source.kinds),
            ("site", source.site == OPEN),
        )
        if is_open
    )
