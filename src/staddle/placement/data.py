"""The question as tables: what fails together, the named groups of rules, like members, the units of the levels.

Pure values out of a Problem; the model and the explanation both read them. Not here: the solver's model
(model_cp.py), and the checker, which shares no code with either (verify.py).

A member is **touched** by a domain when its host or the pool of one of its disks stands in it; a pool may stand in a host. A host or pool without
a domain of some kind is not held by the rules of that kind: that the survey left it out is a finding of the review.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from staddle.kernel import format_binary, format_decimal
from staddle.placement.model import (
    ConflictRule,
    DiskNeed,
    HostRoom,
    MemberNeed,
    PoolRoom,
    Problem,
    Seat,
)

__all__ = ["FATE_WEIGHTS", "FATE_WEIGHT_OF_OTHERS", "Fate", "Tables", "fill_permille", "fill_unit"]

# How much one pair of members weighs that shares a domain of this kind. Sharing a host also shares all above it, so
# that it costs most in any case. Common practice, no source.
FATE_WEIGHTS: Final = {"host": 4, "pool": 2}
FATE_WEIGHT_OF_OTHERS: Final = 1
_FILL_BITS: Final = 24  # totals of at most 2^24 units keep the solver's sums far from 2^63


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


class Tables:
    """Everything that the model and the explanation look up about one problem, computed once."""

    def __init__(self, problem: Problem) -> None:
        self.problem: Final = problem
        self.host_at: Final = {host.name: position for position, host in enumerate(problem.hosts)}
        self.pool_at: Final = {pool.name: position for position, pool in enumerate(problem.pools)}
        self.settled: Final = {seat.member: seat for seat in problem.settled}
        self._host_bars: Final[dict[tuple[int, str], tuple[ConflictRule, ...]]] = {}

    @cached_property
    def fates(self) -> tuple[Fate, ...]:
        """Every domain, in the order in which the tables of hosts and then of pools name them."""
        hosts: dict[tuple[str, str], list[int]] = {}
        pools: dict[tuple[str, str], list[int]] = {}
        sites: dict[tuple[str, str], dict[str, None]] = {}
        rows: tuple[tuple[str, Iterable[HostRoom | PoolRoom], dict[tuple[str, str], list[int]]], ...] = (
            ("host", self.problem.hosts, hosts),
            ("pool", self.problem.pools, pools),
        )
        for own, rooms, found in rows:
            for position, room in enumerate(rooms):
                for key in _keys(own, room):
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

    @cached_property
    def classes(self) -> tuple[tuple[int, ...], ...]:
        """Positions of like members, which may change places without any difference; in the order of members."""
        found: dict[object, list[int]] = {}
        for position, member in enumerate(self.problem.members):
            settled = self.settled.get(member.name)
            key = (replace(member, name=""), None if settled is None else (settled.host, settled.disks))
            found.setdefault(key, []).append(position)
        return tuple(tuple(positions) for positions in found.values())

    @cached_property
    def class_of(self) -> dict[str, int]:
        """The position in ``classes`` of each member, by its name."""
        members = self.problem.members
        return {members[i].name: number for number, positions in enumerate(self.classes) for i in positions}

    @cached_property
    def fate_at(self) -> dict[tuple[str, str], int]:
        """The position in ``fates`` of each (kind, name)."""
        return {(fate.kind, fate.name): position for position, fate in enumerate(self.fates)}

    def touched(self, seat: Seat) -> frozenset[tuple[str, str]]:
        """The (kind, name) of every domain that touches a member in this seat."""
        found = set(self._host_keys[self.host_at[seat.host]])
        for _, pool in seat.disks:
            found |= self._pool_keys[self.pool_at[pool]]
        return frozenset(found)

    @cached_property
    def _host_keys(self) -> tuple[frozenset[tuple[str, str]], ...]:
        return tuple(frozenset(_keys("host", host)) for host in self.problem.hosts)

    @cached_property
    def _pool_keys(self) -> tuple[frozenset[tuple[str, str]], ...]:
        return tuple(frozenset(_keys("pool", pool)) for pool in self.problem.pools)

    def host_bars(self, member: MemberNeed, host: HostRoom) -> tuple[ConflictRule, ...]:
        """The rules by which this host alone cannot take this member, whatever the others do."""
        key = (self.class_of[member.name], host.name)
        if key not in self._host_bars:
            self._host_bars[key] = self._find_host_bars(member, host)
        return self._host_bars[key]

    def _find_host_bars(self, member: MemberNeed, host: HostRoom) -> tuple[ConflictRule, ...]:
        names = (host.name, *(name for _, name in host.domains))
        missing = [network for network in member.networks if network not in host.networks]
        barred = [name for name in member.keep_out if name in names]
        checks = (
            (
                "pin",
                bool(member.pinned_to) and member.pinned_to != host.name,
                f"it is pinned to {member.pinned_to}",
            ),
            (
                "site",
                bool(member.site) and ("site", member.site) not in host.domains,
                f"it is not at site {member.site}",
            ),
            ("keep-out", bool(barred), f"the member keeps out of {', '.join(barred)}"),
            ("networks", bool(missing), f"it lacks network {', '.join(missing)}"),
            (
                "cpu-level",
                bool(member.cpu_level) and member.cpu_level != host.cpu_level,
                f'its CPU level is "{host.cpu_level}", needed is "{member.cpu_level}"',
            ),
            (
                "numa",
                0 < host.node_cores < member.vcpus or 0 < host.node_memory_bytes < member.memory_bytes,
                f"one NUMA node has {host.node_cores} cores and {format_binary(host.node_memory_bytes)}, "
                f"needed are {member.vcpus} and {format_binary(member.memory_bytes)}",
            ),
            (
                "memory",
                member.memory_bytes > host.memory_bytes,
                f"{format_binary(host.memory_bytes)} of memory left, needed are {format_binary(member.memory_bytes)}",
            ),
            ("vcpus", member.vcpus > host.vcpus, f"{host.vcpus} vCPUs left, needed are {member.vcpus}"),
        )
        return tuple(ConflictRule(name=name, text=text) for name, barring, text in checks if barring)

    def pool_bars(self, member: MemberNeed, disk: DiskNeed, pool: PoolRoom) -> tuple[ConflictRule, ...]:
        """The rules by which this pool alone cannot take this disk, whatever the others do."""
        allowed = self.problem.allowed_pools
        names = (pool.name, *(name for _, name in pool.domains))
        barred = [name for name in member.keep_out if name in names]
        fits = disk.written_bytes <= pool.free_bytes and disk.promised_bytes <= pool.promise_bytes
        if fits and not barred and (not allowed or pool.name in allowed):
            return ()  # the usual case, asked often
        checks = (
            ("pools-named", bool(allowed) and pool.name not in allowed, "it is not among the design's pools"),
            ("keep-out", bool(barred), f"the member keeps out of {', '.join(barred)}"),
            (
                "pool-free",
                disk.written_bytes > pool.free_bytes,
                f"{format_decimal(pool.free_bytes)} free above the floor, needed are "
                f"{format_decimal(disk.written_bytes)}",
            ),
            (
                "pool-promise",
                disk.promised_bytes > pool.promise_bytes,
                f"{format_decimal(pool.promise_bytes)} may still be promised, needed are "
                f"{format_decimal(disk.promised_bytes)}",
            ),
        )
        return tuple(ConflictRule(name=name, text=text) for name, barring, text in checks if barring)

    @cached_property
    def groups(self) -> tuple[ConflictRule, ...]:
        """The named groups of rules at rest that hold in this problem, in words of the design."""
        problem = self.problem
        members = problem.members
        first = ", ".join(m.name for m in members if m.leads == "first")
        second = ", ".join(m.name for m in members if m.leads == "second")
        votes = sum(m.votes for m in members)
        sites = ", ".join(f"{m.name} at {m.site}" for m in members if m.site)
        pins = ", ".join(f"{m.name} on {m.pinned_to}" for m in members if m.pinned_to)
        outs = "; ".join(f"{m.name} out of {', '.join(m.keep_out)}" for m in members if m.keep_out)
        networks = ", ".join(dict.fromkeys(name for m in members for name in m.networks))
        memory = format_binary(sum(m.memory_bytes for m in members))
        disks = any(m.disks for m in members)
        written = format_decimal(sum(d.written_bytes for m in members for d in m.disks))
        promised = format_decimal(sum(d.promised_bytes for m in members for d in m.disks))
        vcpus = sum(m.vcpus for m in members)
        levels = any(m.cpu_level for m in members)
        rows: list[tuple[str, bool, str]] = [
            (
                "memory",
                True,
                f"memory is not overcommitted: the members need {memory} of what the hosts have left",
            ),
            ("vcpus", True, f"vCPUs stay within each host's vCPUs per core: the members need {vcpus}"),
            ("numa", True, "a member fits into one NUMA node of its host"),
            (
                "cpu-level",
                problem.one_cpu_level or levels,
                "members that hold data stand on hosts of one CPU level"
                if problem.one_cpu_level
                else "members stand on hosts of the CPU level they need",
            ),
            (
                "networks",
                bool(networks),
                f"a host has every network that its member is attached to: {networks}",
            ),
            ("pool-reach", disks, "a host reaches the pools of its member's disks"),
            ("pool-free", disks, f"pools keep their floor free: the disks write {written}"),
            ("pool-promise", disks, f"pools keep their promise limit: the disks are promised {promised}"),
            (
                "pools-named",
                disks and bool(problem.allowed_pools),
                f"storage.pools: only {', '.join(problem.allowed_pools)}",
            ),
            *(
                (f"apart:{k}", True, f"apart: no two members share a {k}")
                for k in dict.fromkeys(problem.apart)
            ),
            *(
                (
                    f"deputy-apart:{k}",
                    bool(first and second),
                    f"the deputy {second} shares no {k} with the leader {first}",
                )
                for k in dict.fromkeys(problem.deputy_apart)
            ),
            *(
                (f"majority:{k}", votes > 0, f"no {k} holds half of the {votes} votes or more")
                for k in dict.fromkeys(problem.majority_kinds)
            ),
            ("site", bool(sites), f"members.site: {sites}"),
            ("pin", bool(pins), f"members.host: {pins}"),
            ("keep-out", bool(outs), f"members.keep_out: {outs}"),
        ]
        return tuple(ConflictRule(name=name, text=text) for name, holds, text in rows if holds)


def fill_unit(total_bytes: int) -> int:
    """The unit, a power of two, in which fill is counted for a host or pool of that total: at most 2^24 units."""
    return 1 << max(0, total_bytes.bit_length() - _FILL_BITS)


def fill_permille(total_bytes: int, left_bytes: int, needs_bytes: Iterable[int]) -> int:
    """How full it is with these needs, in per mille of its total, rounded up; what is not left counts as full.

    Counted in whole units (fill_unit), needs down and the total up, so that a whole per mille stays one.
    """
    unit = fill_unit(total_bytes)
    taken = (total_bytes - left_bytes) // unit + sum(need // unit for need in needs_bytes)
    return -(-1000 * taken // max(1, -(-total_bytes // unit)))


def _keys(own: str, room: HostRoom | PoolRoom) -> tuple[tuple[str, str], ...]:
    return tuple(dict.fromkeys(((own, room.name), *room.domains)))


def _sites(room: HostRoom | PoolRoom) -> tuple[str, ...]:
    return tuple(name for kind, name in room.domains if kind == "site")
