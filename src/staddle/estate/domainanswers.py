"""Answers about a host's or pool's domains: which headings, of which kinds, in which site. The rest is in openpoints.py."""

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Final

from staddle.estate import cells
from staddle.estate.columnmap import SAID, with_kinds
from staddle.estate.columns import Table
from staddle.estate.domainkinds import KIND_WORDS, NESTED, SITE, TWOFOLD, kind_order
from staddle.estate.export import Export, plain_key
from staddle.estate.sources import OPEN, ColumnSource, Sureness
from staddle.kernel import InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["KINDS", "answered_domains", "heading_meant", "is_of_domains"]

KINDS: Final = tuple(KIND_WORDS)


def is_of_domains(table: Table, column: str, known: Mapping[str, Collection[str]]) -> bool:
    """Whether the column holds domains that are derived, since there is no table in which to look them up."""
    return column == "domains" and table.noun in ("host", "pool") and not known.get("domain")


def heading_meant(export: Export, text: str) -> str | None:
    """The export's heading that is meant, exactly or but for case and marks; None where none or several are."""
    if export.headings.count(text) == 1 and text:
        return text
    alike = [heading for heading in export.headings if heading and plain_key(heading) == plain_key(text)]
    return alike[0] if len(alike) == 1 and plain_key(text) else None


def answered_domains(
    table: Table,
    export: Export,
    before: ColumnSource | None,
    known: Mapping[str, Collection[str]],
    *,
    key: str,
    text: str,
    where: str,
) -> ColumnSource:
    """Where the domains come from after an answer. Args: key: "from", "kinds", "site" or "within".

    Raises: InputRefused: a kind too few or unknown, a name that cannot be one.
    """
    source = before or ColumnSource(column="domains")
    if key in ("kinds", "site") and "+" in text and any(heading_meant(export, p) for p in text.split("+")):
        # Headings joined with "+" tell where the domains come from, whatever is open; as a name they would be one odd site.
        return _from(table, export, source, known, text, where)
    if key == "kinds":
        return _settled(table, replace(source, kinds=_kinds(source, text, where)))
    if key == "within":
        return replace(source, within=_within(text, where), sureness=Sureness.SURE, reason=SAID)
    if key == "site":
        heading = heading_meant(export, text)
        if heading is None:
            return replace(source, site=cells.name(_some(text, where)), sureness=Sureness.SURE, reason=SAID)
        others = [pair for pair in zip(source.headings, source.kinds, strict=True) if pair[0] != heading]
        return replace(
            source,
            headings=(heading, *(theirs for theirs, _ in others)),
            kinds=(SITE, *(kind for _, kind in others)),
            site="",
            sureness=Sureness.SURE,
            reason=SAID,
        )
    return _from(table, export, source, known, text, where)


def _from(
    table: Table,
    export: Export,
    source: ColumnSource,
    known: Mapping[str, Collection[str]],
    text: str,
    where: str,
) -> ColumnSource:
    """Several headings are joined with "+"; what is no heading is the one site of all rows."""
    parts = [part.strip() for part in text.split("+")]
    headings = [heading for part in parts if (heading := heading_meant(export, part)) is not None]
    if len(headings) == len(parts):
        fresh = ColumnSource(
            column="domains", headings=tuple(headings), separator=source.separator, reason=SAID
        )
        return with_kinds(table, fresh, known)
    near = did_you_mean(text, export.headings)
    if headings or near:
        raise InputRefused.one(f'"{text}" is not made of headings of the export', where=where, mend=near)
    if text.casefold() == "none" and table.noun == "pool":
        return ColumnSource(column="domains", value="", reason=SAID)
    return ColumnSource(column="domains", site=cells.name(_some(text, where)), reason=SAID)


def _settled(table: Table, source: ColumnSource) -> ColumnSource:
    needs_site = table.noun == "host" and SITE not in source.kinds and not source.site
    if needs_site:
        reason = "no heading is a site: in which one do all of them stand?"
        return replace(source, site=OPEN, sureness=Sureness.ASKED, reason=reason)
    return replace(source, sureness=Sureness.SURE, reason=SAID)


def _kinds(source: ColumnSource, text: str, where: str) -> tuple[str, ...]:
    kinds = tuple(cells.name(part.strip().casefold()) for part in text.split(","))
    if len(kinds) != len(source.headings) or "" in kinds or OPEN in kinds:
        raise InputRefused.one(
            f'"{text}" is not one kind for each of {", ".join(source.headings)}',
            where=f"{where}.kinds",
            mend="the usual kinds are " + ", ".join(sorted(KINDS, key=kind_order)),
        )
    return kinds


def _within(text: str, where: str) -> tuple[str, ...]:
    kinds = tuple(part.strip().casefold() for part in text.split(","))
    may = (*NESTED[1:], *TWOFOLD)
    if odd := [kind for kind in kinds if kind not in may]:
        raise InputRefused.one(
            f'"{odd[0]}" is no kind of which names may count within another domain',
            where=f"{where}.within",
            mend=did_you_mean(odd[0], may) or "these are " + ", ".join(may),
        )
    return kinds


def _some(text: str, where: str) -> str:
    if not text or text == OPEN:
        raise InputRefused.one("a site has a name", where=where, mend="write its name")
    return text
