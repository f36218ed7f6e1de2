"""The open points of a map of columns as questions, and what an answer makes of the map. Not here: asking (cli/), keeping
(mapfile.py), what is proposed and where that comes from (proposals.py).
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

from staddle.estate.cellkinds import CellKind, kind_of
from staddle.estate.columnmap import SAID, source_from
from staddle.estate.columns import NO_DEFAULT, Column, Table
from staddle.estate.domainanswers import KINDS, answered_domains, heading_meant, is_of_domains
from staddle.estate.export import Export, ExportCell
from staddle.estate.headingunit import AS_WRITTEN, UNITS, unit_told
from staddle.estate.proposals import Proposal, proposal_for
from staddle.estate.sources import ColumnSource, Sureness, TableMap, open_questions
from staddle.estate.takencells import share_of_memory, taken_cell
from staddle.kernel import InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["FROM", "KEYS", "NONE", "OpenPoint", "answered", "open_points", "with_source"]

FROM: Final = "from"
"""The key of the question where a column comes from: a heading of theirs, or one value for all rows."""

KEYS: Final = (FROM, "unit", "separator", "decimal", "kinds", "site", "within")
NONE: Final = "none"
"""The answer "this column holds nothing", where a blank cell means something."""

_SHOWN: Final = 4
_NOUNS: Final = {"networks": "network", "pools": "pool", "domains": "domain", "pool": "pool", "host": "host"}
_HEADING: Final = "heading:"
_VALUE: Final = "value:"


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPoint:
    """One question about one of our columns.

    Args: key: one of KEYS; may: what may be answered; cells: the first cells that it is about, () where there are none.
    """

    table: str
    column: str
    key: str
    question: str
    may: str
    cells: tuple[str, ...]
    proposal: Proposal

    @property
    def name(self) -> str:
        """The point as it is named when it is answered without a terminal: "hosts.memory.unit"."""
        return f"{self.table}.{self.column}" + ("" if self.key == FROM else f".{self.key}")


def open_points(
    table: Table, export: Export, found: TableMap, known: Mapping[str, Collection[str]]
) -> tuple[OpenPoint, ...]:
    """What the map leaves open, column by column in its order. Args: known: names of the other tables by noun."""
    points = []
    for source, key in open_questions(found):
        column = _column(table, source.column)
        what = FROM if key in ("heading", "value") else key
        points.append(
            OpenPoint(
                table=found.table,
                column=source.column,
                key=what,
                question=_question(source, what),
                may=_may(table, column, what, export, found, known),
                cells=_cells(export, source),
                proposal=proposal_for(table, column, what, export, found),
            )
        )
    return tuple(points)


def answered(
    table: Table,
    export: Export,
    found: TableMap,
    known: Mapping[str, Collection[str]],
    *,
    column: str,
    key: str,
    text: str,
) -> ColumnSource:
    """Where that column comes from after this answer; more may be open in it than before ("GB" of which kind?).

    Args: column: one of our headings; key: one of KEYS, or "" for the one that is open or that the text fits.
    Raises: InputRefused: the answer is none that this column can have.
    """
    ours = _column(table, column)
    before = next((source for source in found.sources if source.column == column), None)
    text = text.strip()
    key = key or _key_meant(ours, found, text)
    if key in KEYS[4:] and column != "domains":
        raise InputRefused.one(f"{column} has no {key}", where=found.table, mend="only domains have one")
    if key in KEYS[4:] or (key == FROM and is_of_domains(table, column, known)):
        return answered_domains(
            table, export, before, known, key=key, text=text, where=f"{found.table}.{column}"
        )
    if key == FROM:
        return _from(table, ours, export, found, known, text)
    if before is None or not before.headings:
        raise InputRefused.one(
            f"{column} comes from no column of the export, so it has no {key}",
            where=found.table,
            mend=f"answer {found.table}.{column} with a heading first",
        )
    may = _choices(ours, key)
    if text not in may and key != "separator":
        raise InputRefused.one(
            f'"{text}" is no {key} of {column}',
            where=f"{found.table}.{column}.{key}",
            mend=did_you_mean(text, may) or f"answer {_either(may)}",
        )
    if not text:
        raise InputRefused.one("a separator is a sign", where=f"{found.table}.{column}.{key}")
    return replace(
        before,
        unit=text if key == "unit" else before.unit,
        separator=text if key == "separator" else before.separator,
        decimal=text if key == "decimal" else before.decimal,
        sureness=Sureness.SURE,
        reason=SAID,
    )


def with_source(table: Table, found: TableMap, source: ColumnSource) -> TableMap:
    """The map with that column from there, in the order of our columns."""
    others = {one.column: one for one in found.sources} | {source.column: source}
    ordered = tuple(others[column.heading] for column in table.columns if column.heading in others)
    return replace(found, sources=ordered)


def _column(table: Table, heading: str) -> Column:
    return next(column for column in table.columns if column.heading == heading)


def _key_meant(column: Column, found: TableMap, text: str) -> str:
    keys = {
        FROM if key in ("heading", "value") else key
        for s, key in open_questions(found)
        if s.column == column.heading
    }
    if len(keys) == 1:
        return keys.pop()
    # Answers that are given again, by the same command line, must find their place again.
    if kind_of(column) in (CellKind.MEMORY, CellKind.DISK) and text in (*UNITS, AS_WRITTEN):
        return "unit"
    return "decimal" if text in (",", ".") else FROM


def _from(
    table: Table,
    column: Column,
    export: Export,
    found: TableMap,
    known: Mapping[str, Collection[str]],
    text: str,
) -> ColumnSource:
    where = f"{found.table}.{column.heading}"
    theirs = text.removeprefix(_HEADING).strip()
    heading = None if text.startswith(_VALUE) else heading_meant(export, theirs)
    if text.startswith(_HEADING) and heading is None:
        raise InputRefused.one(
            f'the export has no heading "{theirs}"',
            where=where,
            mend=did_you_mean(theirs, export.headings)
            or "its headings are " + ", ".join(filter(None, export.headings)),
        )
    value, refused = None, None
    if not text.startswith(_HEADING):
        try:
            said = _value(table, column, text.removeprefix(_VALUE).strip())
            _refuse_unknown_names(column, said, known, where)
            value = said
        except InputRefused as exc:
            refused = exc
    if heading is not None and value is not None:
        raise InputRefused.one(
            f'"{text}" is a heading of the export, and could be a value for all rows',
            where=where,
            mend=f'write "{_HEADING} {text}" or "{_VALUE} {text}"',
        )
    if heading is not None:
        return source_from(table, column, export, heading, known)
    if value is None:
        fault = refused.faults[0] if refused else None
        raise InputRefused.one(
            f'"{text}" is no heading of the export, and no value for {column.heading}',
            where=where,
            why="" if fault is None else fault.what,
            mend=did_you_mean(text, export.headings) or ("" if fault is None else fault.mend),
        ) from refused
    return ColumnSource(column=column.heading, value=value, reason=SAID)


def _refuse_unknown_names(
    column: Column, value: str, known: Mapping[str, Collection[str]], where: str
) -> None:
    """A name for all rows that no table has is a heading of another export, or mistyped: never a new thing."""
    names = known.get(_NOUNS.get(column.heading, ""), ())
    if not names or not value:
        return
    many = kind_of(column) is CellKind.NAMES
    for name in (one.strip() for one in (value.split(";") if many else [value])):
        if name not in names:
            raise InputRefused.one(
                f'there is no {_NOUNS[column.heading]} "{name}"',
                where=where,
                mend=did_you_mean(name, names) or f"name some of {', '.join(sorted(names)[:_SHOWN])}",
            )


def _value(table: Table, column: Column, text: str) -> str:
    if text.casefold() == NONE and column.blank is not NO_DEFAULT:
        return ""
    if share_of_memory(table, column, text) is not None:
        return text
    # Read as a cell would be, so that what is said here is what is taken later.
    taken_cell(table, ColumnSource(column=column.heading, value=text), column, (ExportCell(text),))
    return text


def _question(source: ColumnSource, key: str) -> str:
    if key == FROM:
        return (
            f"{source.column}: {source.reason}"
            if source.headings
            else f"Where does {source.column} come from? No heading is a word for it."
        )
    if key == "kinds":
        return f"Which kind of domain is {' and '.join(source.headings)}? {source.reason}"
    if key == "site":
        return f"In which site do all of them stand? {source.reason}"
    if key == "unit":
        return f"Which unit do the bare numbers of {source.column} count? {source.reason}"
    return f"Which {'decimal mark' if key == 'decimal' else key} has {source.column}? {source.reason}"


def _may(
    table: Table,
    column: Column,
    key: str,
    export: Export,
    found: TableMap,
    known: Mapping[str, Collection[str]],
) -> str:
    if key == "kinds":
        return f"{_either(KINDS)}, or another word, for each heading, separated by commas"
    if key == "site":
        return "a heading of theirs, or the site's name"
    if key != FROM:
        return _either(_choices(column, key)) if key != "separator" else "the sign between two names"
    used = {heading for source in found.sources for heading in source.headings}
    free = [heading for heading in export.headings if heading and heading not in used]
    parts = [
        "a heading of theirs" + (f" ({', '.join(free)})" if free else ""),
        f"or one value for all rows{_example(column, known)}",
    ]
    if column.blank is not NO_DEFAULT:
        parts.append(f'or "{NONE}"')
    return ", ".join(parts)


def _example(column: Column, known: Mapping[str, Collection[str]]) -> str:
    kind = kind_of(column)
    noun = _NOUNS.get(column.heading, "")
    if names := sorted(known.get(noun, ()))[:_SHOWN]:
        return f", such as {'; '.join(names) if kind is CellKind.NAMES else names[0]}"
    if column.heading == "reserved_memory":
        return ", such as 16 GiB, or 10 % of each host's own memory"
    examples = {
        CellKind.MEMORY: "16 GiB",
        CellKind.DISK: "20 TB",
        CellKind.PERCENT: "15 %",
        CellKind.RATIO: "4",
        CellKind.COUNT: "32",
    }
    return f", such as {examples[kind]}" if kind in examples else ""


def _choices(column: Column, key: str) -> tuple[str, ...]:
    if key == "decimal":
        return (",", ".")
    if key == "separator":
        return (";", ",", "|", "newline")
    return ("%",) if kind_of(column) is CellKind.PERCENT else (*UNITS, AS_WRITTEN)


def _either(choices: tuple[str, ...]) -> str:
    told = [f'"{choice}"' if choice in (",", ".") else choice for choice in choices]
    units = [f"{choice} ({unit_told(choice)})" for choice in choices if choice == AS_WRITTEN]
    told = [*told[:-1], *units] if units else told
    return told[0] if len(told) == 1 else ", ".join(told[:-1]) + " or " + told[-1]


def _cells(export: Export, source: ColumnSource) -> tuple[str, ...]:
    if len(source.headings) != 1 or source.headings[0] not in export.headings:
        return ()
    position = export.headings.index(source.headings[0])
    texts = dict.fromkeys(row.cells[position].text for row in export.rows)
    return tuple(text for text in texts if text)[:_SHOWN]
