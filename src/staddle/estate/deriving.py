"""The table of domains from columns such as site, room, rack, feed of exports of hosts and pools. Nothing is guessed.

A domain stands inside another one only where the cells prove it: every row that names both agrees. What they contradict is
a fault with row and column. Not here: which columns these are (domainkinds.py, columnmap.py), what is done with them (jobs/).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from staddle.estate.cells import LIST_SEPARATOR
from staddle.estate.columns import Table
from staddle.estate.domainkinds import INTO_SITE, NESTED, SITE, TWOFOLD, kind_order
from staddle.estate.export import Export, ExportRow
from staddle.estate.model import Domain
from staddle.estate.sources import OPEN, ColumnSource, TableMap
from staddle.estate.takencells import NOTHING_WORDS
from staddle.kernel import Fault

__all__ = ["Derived", "derive_domains", "is_derivable", "single_of"]

_COLUMN: Final = "domains"

Key = tuple[str, str]  # kind, name


@dataclass(frozen=True, slots=True, kw_only=True)
class Derived:
    """The domains, outermost kinds first; those that each row stands in directly, by (noun, line); faults by noun."""

    domains: tuple[Domain, ...]
    placed: dict[tuple[str, int], tuple[str, ...]]
    faults: dict[str, list[Fault]]


@dataclass(slots=True)
class _Seen:
    """One naming of a domain: in which row and where, and the other domains of that row by kind."""

    place: str
    line: int
    beside: dict[str, str]


@dataclass(slots=True)
class _Work:
    seen: dict[Key, list[_Seen]] = field(default_factory=lambda: defaultdict(list))
    rows: dict[tuple[str, int], list[Key]] = field(default_factory=dict)
    faults: dict[str, list[Fault]] = field(default_factory=lambda: defaultdict(list))
    noun_of: dict[str, str] = field(default_factory=dict)  # place → noun, so that a fault goes to its table


def is_derivable(source: ColumnSource | None) -> bool:
    """Whether the domains can be told from this source of a column "domains"."""
    if source is None or OPEN in (*source.headings, *source.kinds, source.site, source.value):
        return False
    return bool(source.kinds or source.site)


def single_of(texts: Iterable[str]) -> str:
    """The one feed (or switch) that a host hangs on; "" where there are none or several."""
    different = set(filter(None, texts))
    return different.pop() if len(different) == 1 else ""


def derive_domains(
    parts: Sequence[tuple[Table, Export, TableMap]], *, keep: Sequence[Domain] = ()
) -> Derived:
    """The domains that these exports name.

    Args: parts: of hosts and pools, of which those without such columns are passed over; keep: domains of before that
        other tables still name.
    """
    work = _Work()
    for table, export, found in parts:
        source = next((one for one in found.sources if one.column == _COLUMN), None)
        if source is not None and is_derivable(source):
            for row in export.rows:
                if not _passed_over(export, row, found):
                    _read(work, table, export, row, source)
    _spelling(work)
    inside = _nest(work)
    names = _names(work.seen)
    domains = [
        Domain(name=names[key], kind=key[0], inside=names[inside[key]] if key in inside else None)
        for key in sorted(work.seen, key=lambda key: kind_order(key[0]))
    ]
    return Derived(
        domains=_kept(domains, keep),
        placed={row: _direct(keys, inside, names) for row, keys in work.rows.items()},
        faults=dict(work.faults),
    )


def _passed_over(export: Export, row: ExportRow, found: TableMap) -> bool:
    source = next((one for one in found.sources if one.column == "name"), None)
    at = [export.headings.index(h) for h in source.headings if h in export.headings] if source else []
    return bool(at) and row.cells[at[0]].text in found.passed_over


def _read(work: _Work, table: Table, export: Export, row: ExportRow, source: ColumnSource) -> None:
    """One row's domains. Its twofold ones count for the table, and for the row only where it has a single one."""
    texts: list[tuple[str, str, str]] = [(SITE, source.site, "")] if source.site else []
    for heading, kind in zip(source.headings, source.kinds, strict=False):
        if heading not in export.headings:
            continue  # told once, where the map is read
        cell = row.cells[export.headings.index(heading)]
        sign = {"newline": "\n"}.get(source.separator, source.separator or LIST_SEPARATOR)
        written = cell.text.split(sign) if kind in TWOFOLD else [cell.text]
        for text in (part.strip() for part in written):
            place = export.place(row.line, heading)
            if fault := _doubtful(table, kind, text, cell.doubt, source):
                work.faults[table.noun].append(Fault(what=f"{heading}: {fault}", where=place, mend=_FILL))
            elif text and text.casefold() not in source.blank:
                texts.append((kind, text, place))
    beside = {kind: text for kind, text, _ in texts if kind in NESTED}
    keys: list[Key] = []
    for kind, text, place in texts:
        key = (kind, _within(kind, text, beside) if kind in source.within else text)
        around = {k: _within(k, t, beside) if k in source.within else t for k, t in beside.items()}
        where = place or export.place(row.line, "")
        work.seen[key].append(_Seen(place=where, line=row.line, beside=around))
        work.noun_of[where] = table.noun
        keys.append(key)
    single = {kind: single_of(name for k, name in keys if k == kind) for kind in TWOFOLD}
    work.rows[table.noun, row.line] = [
        key for key in dict.fromkeys(keys) if key[0] not in TWOFOLD or key[1] == single[key[0]]
    ]


_FILL: Final = "fill it in: a host in a domain that nobody knows may be taken for one that stands apart"


def _doubtful(table: Table, kind: str, text: str, doubt: str, source: ColumnSource) -> str:
    if doubt:
        return f"the cell {doubt}"
    if not text and table.noun == "host" and kind in NESTED:
        return f"the cell is blank, so the {kind} of this host is not known"
    if text.casefold() in NOTHING_WORDS and text.casefold() not in source.blank:
        return f'"{text}" may mean that there is none, or that nobody knows'
    if LIST_SEPARATOR in text:
        return f'"{text}" holds a "{LIST_SEPARATOR}", which separates the names of a list'
    return "" if text.isprintable() else f"{text!r} holds characters that cannot be printed"


def _outer(kind: str) -> tuple[str, ...]:
    """The kinds that one of this kind may stand in, the nearest first."""
    if kind in INTO_SITE:
        return (SITE,)
    around = NESTED[: NESTED.index(kind)] if kind in NESTED else NESTED
    return tuple(reversed(around))


def _within(kind: str, text: str, beside: dict[str, str]) -> str:
    """The name of a domain whose own name counts only within what it stands in: "Ousemoor R1"."""
    around = next((beside[outer] for outer in _outer(kind) if outer in beside), "")
    return f"{around} {text}".strip()


def _spelling(work: _Work) -> None:
    first: dict[Key, str] = {}
    for kind, name in work.seen:
        plain = (kind, " ".join(name.casefold().split()))
        other = first.setdefault(plain, name)
        if other != name:
            seen = work.seen[kind, name][0]
            _tell(
                work,
                seen,
                f'the {kind} "{name}" is elsewhere written "{other}"',
                why=f"they would be two, and {work.seen[kind, other][0].place} names the other one",
                mend="write both alike; if they are two, give them names that are less alike",
            )


def _tell(work: _Work, seen: _Seen, what: str, *, why: str, mend: str) -> None:
    work.faults[work.noun_of[seen.place]].append(Fault(what=what, where=seen.place, why=why, mend=mend))


def _nest(work: _Work) -> dict[Key, Key]:
    """What each domain stands in. Faults: one that stands in two of a kind, told where they first disagree."""
    inside: dict[Key, Key] = {}
    torn: set[tuple[Key, str]] = set()
    for key in sorted(work.seen, key=lambda key: kind_order(key[0])):
        for outer in _outer(key[0]):
            found = {seen.beside[outer]: seen for seen in reversed(work.seen[key]) if outer in seen.beside}
            if len(found) == 1:
                inside.setdefault(key, (outer, next(iter(found))))
            elif len(found) > 1 and _is_torn(key, outer, work, torn):
                torn.add((key, outer))
            elif len(found) > 1 and (key[0] in NESTED or key[0] in INTO_SITE):
                torn.add((key, outer))
                for fault in _disagreeing(key, outer, work.seen[key]):
                    _tell(work, *fault[:2], why=fault[2], mend=fault[3])
    return inside


def _is_torn(key: Key, outer: str, work: _Work, torn: set[tuple[Key, str]]) -> bool:
    """Whether a domain between the two disagrees itself, so that it has been told already."""
    kinds = _outer(key[0])
    nearer = kinds[: kinds.index(outer)]
    between = {
        (kind, name) for seen in work.seen[key] for kind, name in seen.beside.items() if kind in nearer
    }
    return any((one, outer) in torn for one in between)


def _disagreeing(key: Key, outer: str, rows: list[_Seen]) -> Iterator[tuple[_Seen, str, str, str]]:
    told: dict[str, _Seen] = {}
    for seen in rows:
        name = seen.beside.get(outer)
        if name is None or name in told:
            continue
        if told:
            other, before = next(iter(told.items()))
            yield (
                seen,
                f'the {key[0]} "{key[1]}" stands in the {outer} "{name}"',
                f'by {before.place} it stands in the {outer} "{other}"',
                f"mend the cell; if they are two of one name, answer TABLE.domains.within={key[0]} for hosts and for pools",
            )
        told[name] = seen


def _names(keys: Iterable[Key]) -> dict[Key, str]:
    """A name for each: as written, with its kind before it where another kind uses the same name."""
    kinds: dict[str, set[str]] = defaultdict(set)
    for kind, name in keys:
        kinds[name].add(kind)
    return {(kind, name): name if len(kinds[name]) == 1 else f"{kind} {name}" for kind, name in keys}


def _direct(keys: list[Key], inside: dict[Key, Key], names: dict[Key, str]) -> tuple[str, ...]:
    """Names of the domains, innermost kind first, without those that others of the row stand in anyway."""
    above: set[Key] = set()
    for key in keys:
        at = inside.get(key)
        while at is not None:
            above.add(at)
            at = inside.get(at)
    nested = [key for key in keys if key[0] in NESTED and key not in above]
    others = [key for key in keys if key[0] not in NESTED and key not in above]
    return tuple(names[key] for key in (*reversed(nested), *others))


def _kept(domains: list[Domain], keep: Sequence[Domain]) -> tuple[Domain, ...]:
    """With those of before that these exports do not name."""
    new = {domain.name for domain in domains}
    both = (*domains, *(domain for domain in keep if domain.name not in new))
    return tuple(sorted(both, key=lambda domain: kind_order(domain.kind)))
