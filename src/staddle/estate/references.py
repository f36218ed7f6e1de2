"""Whether the tables agree with each other: names once, references to what exists, nesting, one site a host.

Input faults only; what is sound but strained is a finding (strain.py).
"""

from collections.abc import Iterable, Iterator, Mapping
from typing import Final

from staddle.estate.rows import Row, TableRows
from staddle.kernel import Fault
from staddle.kernel.likeness import did_you_mean

__all__ = ["SITE_KIND", "check_links", "check_references"]

SITE_KIND: Final = "site"

# Looking for near names among thousands takes milliseconds each; a table that is wrong throughout needs no more.
_MOST_SUGGESTIONS: Final = 20


def check_references(
    domains: TableRows, hosts: TableRows, pools: TableRows, networks: TableRows, guests: TableRows
) -> list[Fault]:
    """Every fault between the tables, table by table in the order of their rows."""
    faults: list[Fault] = []
    for found in (domains, hosts, pools, networks, guests):
        faults += _doubled(found)
    faults += _shared_with_domains(domains, hosts)
    look = _Looker()
    look.incomplete = {found.table.noun for found in (domains, hosts, pools, networks) if not found.complete}
    known = {found.table.noun: _names(found) for found in (domains, hosts, pools, networks)}
    for row in _sound(domains):
        if row.value.inside is not None:
            faults += look.up(domains, row, "inside", "domain", (row.value.inside,), known["domain"])
    for row in _sound(hosts):
        faults += look.up(hosts, row, "domains", "domain", row.value.domains, known["domain"])
        faults += look.up(hosts, row, "networks", "network", row.value.networks, known["network"])
        faults += look.up(hosts, row, "pools", "pool", row.value.pools, known["pool"])
    for row in _sound(pools):
        either = known["domain"] | known["host"]
        faults += look.up(pools, row, "domains", "domain or host", row.value.domains, either)
    for row in _sound(guests):
        faults += look.up(guests, row, "host", "host", (row.value.host,), known["host"])
        faults += look.up(guests, row, "pool", "pool", (row.value.pool,), known["pool"])
    circles = list(_circles(domains))
    faults += circles
    # With a circle, or a domain that could not be read, "no site" would only repeat that fault.
    if domains.complete and not circles and all(row.value for row in domains.rows):
        faults += _sites(domains, hosts)
    return faults


def check_links(links: TableRows, domains: TableRows) -> list[Fault]:
    """Every fault between the table of links and that of domains: a link leads from one site to another."""
    faults = list(_doubled(links))
    look = _Looker()
    look.incomplete = set() if domains.complete else {"site"}
    sites = frozenset(row.name for row in _sound(domains) if row.value.kind == SITE_KIND)
    # A domain whose row holds a fault may be a site as well; it was told already.
    unread = frozenset(row.name for row in domains.rows if row.value is None)
    for row in _sound(links):
        faults += look.up(links, row, "sites", "site", row.value.sites, sites | unread)
    return faults


def _sound(found: TableRows) -> Iterator[Row]:
    return (row for row in found.rows if row.value is not None)


def _names(found: TableRows) -> frozenset[str]:
    return frozenset(row.name for row in found.rows if row.name)


def _doubled(found: TableRows) -> Iterator[Fault]:
    first: dict[str, int] = {}
    for row in found.rows:
        if row.name and row.name in first:
            yield Fault(
                what=f'there are two {found.table.noun}s "{row.name}"',
                where=found.place(row.line, "name"),
                why=f"the first one stands in row {first[row.name]}",
                mend="rename one, or remove the row if it is the same one twice",
            )
        first.setdefault(row.name, row.line)


def _shared_with_domains(domains: TableRows, hosts: TableRows) -> Iterator[Fault]:
    names = _names(domains)
    for row in hosts.rows:
        if row.name in names:
            yield Fault(
                what=f'"{row.name}" is the name of a host and of a domain',
                where=hosts.place(row.line, "name"),
                why="a pool may stand in either, so its reference would have two meanings",
                mend="rename one of them",
            )


class _Looker:
    """Looks references up, and looks for near names only so often."""

    def __init__(self) -> None:
        self.incomplete: set[str] = set()
        self._suggested: dict[tuple[str, str], str] = {}

    def up(
        self,
        found: TableRows,
        row: Row,
        heading: str,
        noun: str,
        names: Iterable[str],
        known: frozenset[str],
    ) -> Iterator[Fault]:
        if self.incomplete.intersection(noun.split(" or ")):
            return
        for name in names:
            if name in known:
                continue
            yield Fault(
                what=f'{found.table.noun} "{row.name}", {heading}: there is no {noun} "{name}"',
                where=found.place(row.line, heading),
                mend=self._mend(noun, name, known),
            )

    def _mend(self, noun: str, name: str, known: frozenset[str]) -> str:
        tables = [f"{n}s" for n in noun.split(" or ")] if noun != SITE_KIND else ["domains"]
        add = f"add it to the table of {' or of '.join(tables)}"
        if (noun, name) not in self._suggested:
            if len(self._suggested) >= _MOST_SUGGESTIONS:
                return add
            self._suggested[noun, name] = did_you_mean(name, sorted(known))
        return self._suggested[noun, name] or add


def _circles(domains: TableRows) -> Iterator[Fault]:
    inside = _inside(domains)
    lines = {row.name: row.line for row in domains.rows}
    done: set[str] = set()
    for start in inside:
        path: list[str] = []
        at: str | None = start
        while at is not None and at not in done and at not in path:
            path.append(at)
            at = inside.get(at)
        if at is not None and at in path:
            circle = [*path[path.index(at) :], at]
            yield Fault(
                what=f'the domain "{at}" stands inside itself',
                where=domains.place(lines[at], "inside"),
                why=" inside ".join(f'"{name}"' for name in circle),
                mend="let the outermost of them stand inside nothing",
            )
        done.update(path)


def _inside(domains: TableRows) -> dict[str, str | None]:
    return {row.name: row.value.inside for row in _sound(domains)}


def _sites(domains: TableRows, hosts: TableRows) -> Iterator[Fault]:
    inside = _inside(domains)
    sites = {row.name for row in _sound(domains) if row.value.kind == SITE_KIND}
    site_of = {name: tuple(above for above in _upwards(name, inside) if above in sites) for name in inside}
    for row in _sound(hosts):
        if any(name not in inside for name in row.value.domains):
            continue
        found = sorted({site for name in row.value.domains for site in site_of[name]})
        if len(found) != 1:
            yield Fault(
                what=f'host "{row.name}" stands in {" and ".join(found) or "no site"}',
                where=hosts.place(row.line, "domains"),
                why="every host stands in exactly one domain of the kind site, directly or through others",
                mend="name a domain that stands inside its site"
                if not found
                else "mend its domains, or what they stand inside",
            )


def _upwards(name: str, inside: Mapping[str, str | None]) -> Iterator[str]:
    at: str | None = name
    while at is not None:
        yield at
        at = inside.get(at)
