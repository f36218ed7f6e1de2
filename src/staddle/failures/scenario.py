"""What fails at once: scenarios out of "any N KIND", named domains, and all single and double failures.

Pure; contents of domains come from domains.py. What a scenario does to machines is not in here (restart.py).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from staddle.failures.domains import Contents, Tables, contents
from staddle.kernel import Fault, InputRefused

__all__ = ["Scenario", "any_of", "doubles", "kinds", "named", "singles"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """Domains that fail at once, and the hosts and pools that fail with them, in the order of the tables.

    ``domains`` are (kind, name) of what fails; a host is ("host", its name), a pool ("pool", its name).
    """

    name: str
    hosts: tuple[str, ...]
    pools: tuple[str, ...]
    domains: tuple[tuple[str, str], ...]


def kinds(estate: Tables) -> tuple[str, ...]:
    """Every kind of which something can fail: host and pool where there are any, then the domains' in table order."""
    return tuple(dict.fromkeys(kind for kind, _ in _ordered(estate)))


def any_of(estate: Tables, *, count: int, kind: str) -> Iterator[Scenario]:
    """Every choice of ``count`` domains of one kind, in the order of the tables. None where there are fewer of them.

    Raises: InputRefused: the table of domains is wrong.
    """
    found = contents(estate)
    order = _Order(estate)
    for keys in combinations([key for key in _ordered(estate) if key[0] == kind], count):
        yield order.scenario(keys, [found[key] for key in keys])


def named(
    estate: Tables, names: Sequence[str], inside: Mapping[tuple[str, str], Contents] | None = None
) -> Scenario:
    """The hosts, pools or domains of these names, failed together; a name that several bear means all of them.

    Args: inside: the estate's contents where they are known already.
    Raises: InputRefused: a name that nothing on the estate bears; every one at once.
    """
    found = contents(estate) if inside is None else inside
    ordered = _ordered(estate)
    faults: list[Fault] = []
    keys: list[tuple[str, str]] = []
    for name in dict.fromkeys(names):
        bearing = [key for key in ordered if key[1] == name]
        if not bearing:
            faults += InputRefused.one(
                f'"{name}" is no host, pool or domain of the estate',
                mend="name one that stands in its tables",
            ).faults
        keys += bearing
    if faults:
        raise InputRefused(*faults)
    return _Order(estate).scenario(tuple(keys), [found[key] for key in keys])


def singles(estate: Tables) -> Iterator[Scenario]:
    """Every host, every pool and every domain, each failed alone."""
    for kind in kinds(estate):
        yield from any_of(estate, count=1, kind=kind)


def doubles(estate: Tables) -> Iterator[Scenario]:
    """Every two of the same kind failed together, for every kind."""
    for kind in kinds(estate):
        yield from any_of(estate, count=2, kind=kind)


def _ordered(estate: Tables) -> tuple[tuple[str, str], ...]:
    return (
        *(("host", host.name) for host in estate.hosts),
        *(("pool", pool.name) for pool in estate.pools),
        *((domain.kind, domain.name) for domain in estate.domains),
    )


class _Order:
    """Puts what fails into the order of the tables."""

    def __init__(self, estate: Tables) -> None:
        self._host_at = {host.name: position for position, host in enumerate(estate.hosts)}
        self._pool_at = {pool.name: position for position, pool in enumerate(estate.pools)}

    def scenario(self, keys: tuple[tuple[str, str], ...], failing: Sequence[Contents]) -> Scenario:
        hosts = {name for one in failing for name in one.hosts}
        pools = {name for one in failing for name in one.pools}
        return Scenario(
            name=" + ".join(f"{kind} {name}" for kind, name in keys),
            hosts=tuple(sorted(hosts, key=self._host_at.__getitem__)),
            pools=tuple(sorted(pools, key=self._pool_at.__getitem__)),
            domains=keys,
        )
