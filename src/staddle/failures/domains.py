"""What stands in what: every domain above a host or a pool, and everything a domain contains.

Pure. Rows are known by their shape only (name, kind, inside, domains), since the estate's room has the same rank.
What a failure then means is not in here.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from staddle.kernel import InputRefused

__all__ = ["Above", "Contents", "contents", "domains_above", "pool_domains_above"]

Above = tuple[tuple[str, str], ...]  # (kind, name), itself first


class DomainRow(Protocol):
    """A failure domain."""

    @property
    def name(self) -> str: ...
    @property
    def kind(self) -> str: ...
    @property
    def inside(self) -> str | None: ...


class StandingRow(Protocol):
    """A host or a pool, with the domains it stands in directly."""

    @property
    def name(self) -> str: ...
    @property
    def domains(self) -> tuple[str, ...]: ...


class Tables(Protocol):
    """The three tables of an estate that matter here."""

    @property
    def domains(self) -> Sequence[DomainRow]: ...
    @property
    def hosts(self) -> Sequence[StandingRow]: ...
    @property
    def pools(self) -> Sequence[StandingRow]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Contents:
    """What fails with a domain, in the order of the tables."""

    hosts: tuple[str, ...]
    pools: tuple[str, ...]


def domains_above(estate: Tables) -> Mapping[str, Above]:
    """For each host ("host", its name), then every domain above it once: each one named, followed by what that is in.

    Returns: host → (kind, name) pairs, hosts in the order of the table.
    Raises: InputRefused: an unknown domain, or domains that stand inside each other.
    """
    return _close(estate.hosts, "host", _chains(estate))


def pool_domains_above(estate: Tables) -> Mapping[str, Above]:
    """The same for pools, with ("pool", its name) first. A pool inside a host has that host and all above it.

    Raises: InputRefused: as domains_above.
    """
    chains = dict(_chains(estate))
    chains |= domains_above(estate)
    return _close(estate.pools, "pool", chains)


def contents(estate: Tables) -> Mapping[tuple[str, str], Contents]:
    """For each (kind, name): the hosts and pools that fail with it. Every domain, host and pool has an entry.

    Raises: InputRefused: as domains_above.
    """
    inside: dict[tuple[str, str], tuple[list[str], list[str]]] = {
        (domain.kind, domain.name): ([], []) for domain in estate.domains
    }
    for position, closed in enumerate((domains_above(estate), pool_domains_above(estate))):
        for name, above in closed.items():
            for key in above:
                inside.setdefault(key, ([], []))[position].append(name)
    return {key: Contents(hosts=tuple(h), pools=tuple(p)) for key, (h, p) in inside.items()}


def _close(rows: Sequence[StandingRow], kind: str, chains: Mapping[str, Above]) -> dict[str, Above]:
    closed = {}
    for row in rows:
        # A dict keeps the first place of a domain that is reached on two ways.
        above = {(kind, row.name): None}
        for name in row.domains:
            if name not in chains:
                raise InputRefused.one(f'{kind} "{row.name}" stands in "{name}", which is no known domain')
            above |= dict.fromkeys(chains[name])
        closed[row.name] = tuple(above)
    return closed


def _chains(estate: Tables) -> dict[str, Above]:
    rows = {domain.name: domain for domain in estate.domains}
    return {name: tuple((row.kind, row.name) for row in _upwards(name, rows)) for name in rows}


def _upwards(name: str, rows: Mapping[str, DomainRow]) -> Iterator[DomainRow]:
    seen: set[str] = set()
    at: str | None = name
    while at is not None:
        if at in seen or at not in rows:
            fault = (
                "stands inside itself" if at in seen else f'stands inside "{at}", which is no known domain'
            )
            raise InputRefused.one(f'the domain "{name}" {fault}', mend="mend the table of domains")
        seen.add(at)
        yield rows[at]
        at = rows[at].inside
