"""The question as tables: everything that the model and the explanation look up, computed once.

Pure values out of a Problem. Not here: the solver's model (model_cp.py), and the checker, which shares no code with
either (verify.py).
"""

from dataclasses import replace
from functools import cached_property
from typing import Final

from staddle.placement.alone import Alone
from staddle.placement.bars import host_bars, pool_bars
from staddle.placement.fates import Fate, domain_keys, find_fates
from staddle.placement.groups import find_groups
from staddle.placement.model import (
    ClusterRules,
    ConflictRule,
    DiskNeed,
    HostRoom,
    MemberNeed,
    PoolRoom,
    Problem,
    Seat,
)
from staddle.placement.reach import Reach, find_reaches

__all__ = ["Tables"]


class Tables:
    """Everything that is looked up about one problem. Args: alone: where another question of the same estate has it."""

    def __init__(self, problem: Problem, *, alone: Alone | None = None) -> None:
        self.problem: Final = problem
        self.host_at: Final = {host.name: position for position, host in enumerate(problem.hosts)}
        self.pool_at: Final = {pool.name: position for position, pool in enumerate(problem.pools)}
        self.settled: Final = {seat.member: seat for seat in problem.settled}
        self.rules: Final = {rules.name: rules for rules in problem.clusters}
        self._given_alone: Final = alone
        self._host_bars: Final[dict[tuple[int, str], tuple[ConflictRule, ...]]] = {}
        self._alone_bars: Final[dict[tuple[int, str], tuple[ConflictRule, ...]]] = {}
        self._pool_bars: Final[dict[tuple[int, str, str], tuple[ConflictRule, ...]]] = {}

    def rules_of(self, member: MemberNeed) -> ClusterRules:
        """The rules of the member's cluster."""
        return self.rules[member.cluster]

    def members_of(self, rules: ClusterRules) -> list[int]:
        """The positions of a cluster's members."""
        return self._members_of[rules.name]

    @cached_property
    def _members_of(self) -> dict[str, list[int]]:
        found: dict[str, list[int]] = {name: [] for name in self.rules}
        for position, member in enumerate(self.problem.members):
            found[member.cluster].append(position)
        return found

    @cached_property
    def fates(self) -> tuple[Fate, ...]:
        """Every domain, in the order in which the tables of hosts and then of pools name them."""
        return find_fates(self.problem)

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
        return tuple(frozenset(domain_keys("host", host)) for host in self.problem.hosts)

    @cached_property
    def _pool_keys(self) -> tuple[frozenset[tuple[str, str]], ...]:
        return tuple(frozenset(domain_keys("pool", pool)) for pool in self.problem.pools)

    def host_bars(self, member: MemberNeed, host: HostRoom) -> tuple[ConflictRule, ...]:
        """The rules by which this host alone cannot take this member, whatever the others do."""
        key = (self.class_of[member.name], host.name)
        if key not in self._host_bars:
            self._host_bars[key] = host_bars(member, host)
        return self._host_bars[key]

    def pool_bars(self, member: MemberNeed, disk: DiskNeed, pool: PoolRoom) -> tuple[ConflictRule, ...]:
        """The rules by which this pool alone cannot take this disk, whatever the others do."""
        key = (self.class_of[member.name], disk.disk_id, pool.name)
        if key not in self._pool_bars:
            self._pool_bars[key] = pool_bars(self.rules_of(member), member, disk, pool)
        return self._pool_bars[key]

    def alone_bars(self, position: int, host: HostRoom) -> tuple[ConflictRule, ...]:
        """Every rule by which the host alone, or all its pools, cannot take the member; () if it can."""
        member = self.problem.members[position]
        key = (self.class_of[member.name], host.name)
        if key not in self._alone_bars:
            bars = list(self.host_bars(member, host))
            reached = self.pools_of[self.host_at[host.name]]
            for disk in member.disks:
                tried = [(pool, self.pool_bars(member, disk, pool)) for pool in reached]
                if not tried:
                    text = f"it reaches no pool for disk {disk.disk_id}"
                    bars.append(ConflictRule(name="pool-reach", text=text))
                elif all(own for _, own in tried):
                    bars += [
                        replace(bar, text=f"pool {pool.name}: {bar.text}")
                        for pool, own in tried
                        for bar in own
                    ]
            self._alone_bars[key] = tuple(dict.fromkeys(bars))
        return self._alone_bars[key]

    @cached_property
    def pools_of(self) -> tuple[tuple[PoolRoom, ...], ...]:
        """The pools that each host reaches, by its position, in the order of the pools."""
        return tuple(
            tuple(
                self.problem.pools[p]
                for p in sorted({self.pool_at[name] for name in host.pools if name in self.pool_at})
            )
            for host in self.problem.hosts
        )

    @cached_property
    def reaches(self) -> tuple[Reach, ...]:
        """What is bound to which hosts after a failure."""
        return find_reaches(self.problem, self.alone)

    @cached_property
    def alone(self) -> Alone:
        """The estate without our members."""
        return self._given_alone or Alone(self.problem)

    @cached_property
    def groups(self) -> tuple[ConflictRule, ...]:
        """The named groups of rules that hold in this problem, in words of the design."""
        return find_groups(self.problem)
