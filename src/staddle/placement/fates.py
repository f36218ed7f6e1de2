"""What fails together in a question: every domain with the hosts and pools that stand in it, and what touches a seat.

A member is **touched** by a domain when its host or the pool of one of its disks stands in it; a pool may stand in a
host. A host or pool without a domain of some kind is not held by the rules of that kind: that the survey left it out is
a finding of the review.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from staddle.placement.model import HostRoom, PoolRoom, Problem

__all__ = ["FATE_WEIGHTS", "FATE_WEIGHT_OF_OTHERS", "Fate", "domain_keys", "find_fates"]

# How much one pair of members weighs that shares a domain of this kind. Sharing a host also shares all above it, so
# that it costs most in any case. Common practice, no source.
FATE_WEIGHTS: Final = {"host": 4, "pool": 2}
FATE_WEIGHT_OF_OTHERS: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """One domain, with the positions of the hosts and pools that stand in it.

    ``below_site``: it counts as shared fate; a site, or what spans several sites, does not.
    """

    kind: str
    name: str
    hosts: tuple[int, ...]
    pools: tuple[int, ...]
    below_site: bool

    @property
    def weight(self) -> int:
        """What one pair of members sharing it adds to the first level."""
        return FATE_WEIGHTS.get(self.kind, FATE_WEIGHT_OF_OTHERS)


def find_fates(problem: Problem) -> tuple[Fate, ...]:
    """Every domain, in the order in which the tables of hosts and then of pools name them."""
    hosts: dict[tuple[str, str], list[int]] = {}
    pools: dict[tuple[str, str], list[int]] = {}
    sites: dict[tuple[str, str], dict[str, None]] = {}
    rows: tuple[tuple[str, Iterable[HostRoom | PoolRoom], dict[tuple[str, str], list[int]]], ...] = (
        ("host", problem.hosts, hosts),
        ("pool", problem.pools, pools),
    )
    for own, rooms, found in rows:
        for position, room in enumerate(rooms):
            for key in domain_keys(own, room):
                sites.setdefault(key, {}).update(dict.fromkeys(_sites(room)))
                found.setdefault(key, []).append(position)
    return tuple(
        Fate(
            kind=kind,
            name=name,
            hosts=tuple(hosts.get((kind, name), ())),
            pools=tuple(pools.get((kind, name), ())),
            below_site=kind != "site" and len(sites[kind, name]) <= 1,
        )
        for kind, name in sites
    )


def domain_keys(own: str, room: HostRoom | PoolRoom) -> tuple[tuple[str, str], ...]:
    """The (kind, name) of everything that this host or pool stands in, itself first. Args: own: "host" or "pool"."""
    return tuple(dict.fromkeys(((own, room.name), *room.domains)))


def _sites(room: HostRoom | PoolRoom) -> tuple[str, ...]:
    return tuple(name for kind, name in room.domains if kind == "site")
