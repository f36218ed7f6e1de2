"""A map of an export's columns to ours, proposed from headings and cells, each with its reason and how sure it is.

A proposal is shown and settled by the engineer; what cannot be told is left open and asked. Words stand in
tradewords.py, shapes in cellshapes.py. No files in here.
"""

import difflib
from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Final

from staddle.estate.cellkinds import CellKind, kind_of
from staddle.estate.cellshapes import Shape, fits, shape_of
from staddle.estate.columns import NO_DEFAULT, Column, Table
from staddle.estate.domainkinds import SITE, kind_of_heading, kind_order
from staddle.estate.export import Export, plain_key
from staddle.estate.headingunit import AS_WRITTEN, heading_unit, is_loose, unit_told, without_unit
from staddle.estate.sources import OPEN, ColumnSource, Sureness, TableMap
from staddle.estate.tradewords import TRADE_WORDS

__all__ = ["SAID", "SUM_WORDS", "domains_from", "propose_map", "source_from", "with_kinds"]

_NEAR: Final = 0.82  # below it, short words that mean something else come out alike ("cores" and "cost")
_LISTS: Final = (CellKind.NAMES, CellKind.ADDRESSES, CellKind.RANGES)
_NUMBERS: Final = (CellKind.COUNT, CellKind.MEMORY, CellKind.DISK, CellKind.PERCENT, CellKind.RATIO)
_REFERENCES: Final = {"host": "host", "pool": "pool", "networks": "network", "pools": "pool"}
_DOMAINS_AT: Final = 1  # of hosts and pools; their kinds of domain may stand in several columns
SAID: Final = "answered by the engineer"
SUM_WORDS: Final = ("total", "totals", "sum", "subtotal", "grand total", "average")


def propose_map(table: Table, export: Export, known: Mapping[str, Collection[str]]) -> TableMap:
    """Where each of our columns may come from. Order: our columns; columns that may be missing and are not found are left out.

    Args: known: the names of the tables that are there already, by noun.
    """
    shapes = [
        shape_of([row.cells[position].text for row in export.rows], known)
        for position in range(len(export.headings))
    ]
    scored = [
        (*_score(table, column, heading, shapes[position]), order, position)
        for order, column in enumerate(table.columns)
        for position, heading in enumerate(export.headings)
        if heading
    ]
    taken_by: dict[int, tuple[int, str]] = {}
    used: set[int] = set()
    domains = _domain_positions(table, export, shapes)
    if domains:
        used.update(domains)
        taken_by[_DOMAINS_AT] = (domains[0], "")
    for points, reason, order, position in sorted(scored, key=lambda item: (-item[0], item[2], item[3])):
        if points > 0 and order not in taken_by and position not in used:
            taken_by[order] = (position, reason)
            used.add(position)
    sources = []
    for order, column in enumerate(table.columns):
        if domains and order == _DOMAINS_AT:
            headings = tuple(export.headings[position] for position in domains)
            separator = next((shapes[at].separator for at in domains if shapes[at].separator), "")
            sources.append(domains_from(table, headings, known, separator=separator))
        elif order in taken_by:
            position, reason = taken_by[order]
            heading, shape = export.headings[position], shapes[position]
            mask = (
                _mask(export, position, used)
                if kind_of(column) is CellKind.PREFIX and shape.addresses
                else ()
            )
            sources.append(with_kinds(table, _source(table, column, heading, shape, reason, mask), known))
        elif order == _DOMAINS_AT and table.noun == "host" and not known.get("domain"):
            sources.append(domains_from(table, (), known))
        elif column.needed or column.blank is NO_DEFAULT:
            sources.append(
                ColumnSource(
                    column=column.heading,
                    value=OPEN,
                    sureness=Sureness.ASKED,
                    reason="no heading is a word for it; name one, or give one value for all rows",
                )
            )
    name_at = taken_by.get(0)
    sums = {
        row.cells[name_at[0]].text
        for row in export.rows
        if name_at and row.cells[name_at[0]].text.casefold().strip(":") in SUM_WORDS
    }
    return TableMap(
        table=table.file.removesuffix(".csv"),
        settled=False,
        sheet=export.sheet,
        sources=tuple(sources),
        passed_over=tuple(sorted(sums)),
    )


def source_from(
    table: Table, column: Column, export: Export, heading: str, known: Mapping[str, Collection[str]]
) -> ColumnSource:
    """Our column from this heading of theirs because the engineer said so, with what its cells leave open.

    Args: heading: one of the export's, which stands in it once; known: as of propose_map.
    """
    position = export.headings.index(heading)
    shape = shape_of([row.cells[position].text for row in export.rows], known)
    addressed = kind_of(column) is CellKind.PREFIX and shape.addresses
    mask = _mask(export, position, {position}) if addressed else ()
    return with_kinds(table, _source(table, column, heading, shape, SAID, mask), known)


def domains_from(
    table: Table, headings: tuple[str, ...], known: Mapping[str, Collection[str]], *, separator: str = ""
) -> ColumnSource:
    """A host's or pool's domains from headings that each name a kind of domain; () asks for the one site of all hosts.

    Args: known: as of propose_map; with a table of domains its names are looked up there, else the table is derived.
    """
    kinds = tuple(kind_of_heading(table.noun, heading) for heading in headings)
    told = ", ".join(
        f'"{heading}" is a word for {kind}' for heading, kind in zip(headings, kinds, strict=True)
    )
    source = ColumnSource(
        column="domains",
        headings=headings,
        separator="newline" if separator == "\n" else "" if separator == ";" else separator,
        reason=told,
    )
    return with_kinds(table, source, known)


def with_kinds(table: Table, source: ColumnSource, known: Mapping[str, Collection[str]]) -> ColumnSource:
    """The source of a host's or pool's domains with the kind of each heading, where the table of domains is derived."""
    if source.column != "domains" or OPEN in source.headings or source.value is not None:
        return source
    kinds = tuple(kind_of_heading(table.noun, heading) for heading in source.headings)
    if known.get(
        "domain"
    ):  # a table of domains tells the kinds; here only feeds need theirs, of which two are none
        return replace(source, kinds=kinds) if all(kinds) else source
    kinds = tuple(kind or OPEN for kind in kinds)
    site = OPEN if table.noun == "host" and SITE not in kinds and OPEN not in kinds else ""
    reason = source.reason
    if OPEN in kinds:
        reason = f"{reason}; which kind of domain is it?"
    elif site:
        reason = f"{reason + '; ' if reason else ''}no heading is a site: in which one do all of them stand?"
    asked = Sureness.ASKED if OPEN in (*kinds, site) else source.sureness
    return replace(source, kinds=kinds, site=site, reason=reason, sureness=asked)


def _domain_positions(table: Table, export: Export, shapes: list[Shape]) -> list[int]:
    """Columns of an export of hosts or pools that each name a kind of domain, the outermost kind first."""
    if table.noun not in ("host", "pool"):
        return []
    kinds = {
        position: kind
        for position, heading in enumerate(export.headings)
        if (kind := kind_of_heading(table.noun, heading))
        and max(shapes[position].addresses, shapes[position].amounts, shapes[position].percents) < 0.5
    }
    return sorted(kinds, key=lambda position: (kind_order(kinds[position]), position))


def _score(table: Table, column: Column, heading: str, shape: Shape) -> tuple[float, str]:
    """Points and the reason; 0 where nothing speaks for it."""
    key = plain_key(without_unit(heading))
    words = (plain_key(column.heading), *map(plain_key, TRADE_WORDS[table.noun][column.heading]))
    kind = kind_of(column)
    fit = fits(kind, shape)
    noun = _REFERENCES.get(column.heading, "")
    share = shape.known.get(noun, 0.0) if noun else 0.0
    unlike = 0.2 if column.heading == "name" and shape.filled and shape.unlike == 1 else 0.0
    if key in words:
        points = 3.0 - words.index(key) / 100 + share + unlike
        return (points if fit is not False else points - 2.5), f'"{heading}" is a word for it'
    near = difflib.get_close_matches(key, words, n=1, cutoff=_NEAR)
    if near and fit is not False:
        likeness = difflib.SequenceMatcher(None, key, near[0]).ratio()
        return 1.0 + likeness / 2 + share, f'"{heading}" is like "{near[0]}"'
    if share >= 0.8:
        return 0.9, f"its cells are names of {noun}s"
    if kind is CellKind.PREFIX and shape.networks >= 0.8:
        return 0.9, "its cells are networks"
    return 0.0, ""


def _mask(export: Export, position: int, used: set[int]) -> tuple[str, ...]:
    for other, heading in enumerate(export.headings):
        if other not in used and plain_key(heading) in ("mask", "netmask", "subnet mask", "prefix length"):
            used.add(other)
            return (heading,)
    return ()


def _source(
    table: Table, column: Column, heading: str, shape: Shape, reason: str, mask: tuple[str, ...]
) -> ColumnSource:
    kind = kind_of(column)
    fit = fits(kind, shape)
    sureness = Sureness.SURE if reason.endswith("a word for it") and fit else Sureness.LIKELY
    headings: tuple[str, ...] = (heading, *mask)
    if fit is False and reason != SAID:
        return ColumnSource(
            column=column.heading,
            headings=(OPEN,),
            sureness=Sureness.ASKED,
            reason=f"{reason}, but its cells do not look like {kind.value}: is it the one?",
        )
    unit, told = _unit(kind, heading, shape)
    blank = shape.nothings if column.blank is not NO_DEFAULT else ()
    separator = shape.separator if kind in _LISTS else ""
    decimal = shape.decimal if kind in _NUMBERS else ""
    parts = [reason, told]
    if separator not in ("", ";"):
        parts.append(f"separated by {separator!r}")
    if decimal == OPEN:
        parts.append("is the comma the decimal mark, or does it group thousands?")
    if blank:
        parts.append("nothing is meant by " + ", ".join(f'"{text}"' for text in blank))
    if fit is None:
        parts.append("all of its cells are blank")
    asked = OPEN in (unit, decimal)
    return ColumnSource(
        column=column.heading,
        headings=headings,
        unit=unit,
        separator="newline" if separator == "\n" else "" if separator == ";" else separator,
        decimal=decimal,
        blank=blank,
        sureness=Sureness.ASKED if asked else sureness,
        reason="; ".join(part for part in parts if part),
    )


def _unit(kind: CellKind, heading: str, shape: Shape) -> tuple[str, str]:
    """The unit and what is said about it; OPEN where it has to be asked."""
    named = heading_unit(heading)
    if kind is CellKind.PERCENT:
        if named == "%":
            return "%", "in %"
        bare = shape.filled and shape.percents < 1
        return (OPEN, 'percentages or shares? write unit: "%" for percentages') if bare else ("", "")
    if kind not in (CellKind.MEMORY, CellKind.DISK):
        return "", ""
    memory = kind is CellKind.MEMORY
    if named and memory and is_loose(named):
        power = "kmgtp".index(named[0].casefold()) + 1
        asked = f"10^{power * 3} bytes (write {named}) or 2^{power * 10} (write {named[0].upper()}iB)?"
        return OPEN, f"the heading says {named}: {asked}"
    if named:
        return named, unit_told(named)
    if shape.numbers and shape.amounts + shape.numbers:
        return OPEN, "numbers without a unit: which one is meant?"
    loose = sorted(unit for unit in shape.units if is_loose(unit))
    if memory and loose:
        return OPEN, f"the cells say {', '.join(loose)}: powers of 1000 (write GB) or of 1024 (write GiB)?"
    return AS_WRITTEN, "; ".join(unit_told(unit) for unit in sorted(shape.units))
