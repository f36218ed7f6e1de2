"""The Booleans of the constraint model: who stands where, what is kept where, what a domain touches; and seats out of them.

One Boolean a unit and host, one a unit, cell, disk and pool (cells.py). What no single host or pool can take is not made
a Boolean at all. Not here: the rules among them (model_cp.py). The solver's library takes half a second to import and is
imported only when a model is built.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Final

from staddle.failures.solver import load_solver
from staddle.placement.cells import find_units
from staddle.placement.data import Tables
from staddle.placement.fates import Fate
from staddle.placement.learnt import Learnt
from staddle.placement.model import ClusterRules, ConflictRule, DiskNeed, MemberNeed, Seat

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    Linear = cp_model.LinearExpr | int
    Terms = list[cp_model.IntVar]

__all__ = ["SeatModel"]


class SeatModel:
    """The Booleans, and that each member stands once and each of its disks lies once.

    Args: tables: the problem; active: names of the groups of rules that hold; learnt: what was learnt about the reserve;
        only: hosts that are looked at, None for all.
    """

    def __init__(
        self, tables: Tables, active: frozenset[str], learnt: Learnt, *, only: frozenset[int] | None
    ) -> None:
        load_solver()
        from ortools.sat.python import cp_model

        self.tables: Final = tables
        self.active: Final = active
        self.cp: Final = cp_model.CpModel()
        self.units: Final = find_units(tables, active, learnt=learnt, only=only)
        self.stands: Final[dict[tuple[int, int], cp_model.IntVar]] = {}  # (unit, host)
        self.keeps: Final[dict[tuple[int, int, int, int], cp_model.IntVar]] = {}  # (unit, cell, disk, pool)
        self.cells: Final[list[dict[int, list[int]]]] = []  # of each unit, hosts by cell
        self._cells_with: Final[list[dict[int, set[int]]]] = []  # of each unit, cells by pool
        self._kept: Final[dict[tuple[int, int, int], Terms]] = {}
        self._barred_pools: Final[dict[tuple[int, int], list[tuple[ConflictRule, ...]]]] = {}
        self._touches: Final[dict[tuple[int, str, str], Terms]] = {}
        self._make_seats()
        self.open_hosts: Final = frozenset(h for _, h in self.stands)
        self._units_of: Final = {
            rules.name: [u for u in range(len(self.units)) if self.member(u).cluster == rules.name]
            for rules in tables.problem.clusters
        }

    def member(self, u: int) -> MemberNeed:
        """A member of that unit; they are alike."""
        return self.tables.problem.members[self.units[u].members[0]]

    def units_of(self, rules: ClusterRules) -> list[int]:
        """The units of a cluster."""
        return self._units_of[rules.name]

    def _make_seats(self) -> None:
        problem = self.tables.problem
        for u, unit in enumerate(self.units):
            member = self.member(u)
            cells: dict[int, list[int]] = {}
            for h, cell in unit.cell_of.items():
                if not any(
                    bar.name in self.active for bar in self.tables.host_bars(member, problem.hosts[h])
                ):
                    self.stands[u, h] = self.cp.new_bool_var("")
                    cells.setdefault(cell, []).append(h)
            self.cells.append(cells)
            self._cells_with.append({})
            self.cp.add(sum(self._hosts_of(u)) == unit.count)
            for x, hosts in cells.items():
                if len(hosts) > 1 and unit.count > 1:
                    self.cp.add_at_most_one(self.stands[u, h] for h in hosts)
                self._make_pools(u, x)

    def _make_pools(self, u: int, x: int) -> None:
        problem, member = self.tables.problem, self.member(u)
        reached = {pool for h in self.cells[u][x] for pool in problem.hosts[h].pools}
        near = sorted(self.tables.pool_at[pool] for pool in reached)
        for k, disk in enumerate(member.disks):
            rows = self._pools_for(u, k, disk)
            for q in near if "pool-reach" in self.active else range(len(rows)):
                if not any(bar.name in self.active for bar in rows[q]):
                    self.keeps[u, x, k, q] = self.cp.new_bool_var("")
                    self._kept.setdefault((u, x, k), []).append(self.keeps[u, x, k, q])
                    self._cells_with[u].setdefault(q, set()).add(x)
            self.cp.add(sum(self._pools_of(u, x, k)) == self._in_cell(u, x))

    def _pools_for(self, u: int, k: int, disk: DiskNeed) -> list[tuple[ConflictRule, ...]]:
        """What bars that disk from each pool."""
        if (u, k) not in self._barred_pools:
            member, pools = self.member(u), self.tables.problem.pools
            self._barred_pools[u, k] = [self.tables.pool_bars(member, disk, pool) for pool in pools]
        return self._barred_pools[u, k]

    def _hosts_of(self, u: int) -> "Terms":
        return [self.stands[u, h] for hosts in self.cells[u].values() for h in hosts]

    def _in_cell(self, u: int, x: int) -> "Linear":
        return sum(self.stands[u, h] for h in self.cells[u][x])

    def _pools_of(self, u: int, x: int, k: int) -> "Terms":
        return self._kept.get((u, x, k), [])

    def touches(self, u: int, fate: Fate) -> "Terms":
        """Booleans of which as many are 1 as members of the unit are touched by that domain, or more."""
        key = (u, fate.kind, fate.name)
        if key not in self._touches:
            self._touches[key] = self.touching(u, frozenset(fate.hosts), frozenset(fate.pools))
        return self._touches[key]

    def touching(self, u: int, hosts: frozenset[int], pools: frozenset[int]) -> "Terms":
        """The same for any set of hosts and pools."""
        found: Terms = []
        cells, disks = self.cells[u], range(len(self.member(u).disks) if pools else 0)
        cell_of = self.units[u].cell_of
        near = {cell_of[h] for h in hosts if (u, h) in self.stands}
        for q in pools:
            near |= self._cells_with[u].get(q, set())
        for x in sorted(near):
            sources = [[self.stands[u, h] for h in cells[x] if h in hosts]]
            for k in disks:
                sources.append([self.keeps[u, x, k, q] for q in pools if (u, x, k, q) in self.keeps])
            present = [source for source in sources if source]
            if len(present) == 1:
                found += present[0]
            elif present:
                touched = self.cp.new_bool_var("")
                for source in present:
                    self.cp.add(sum(source) <= touched)
                found.append(touched)
        return found

    def touching_but(self, u: int, pools: frozenset[int], lost: frozenset[int]) -> "Terms":
        """Booleans of which as many are 1 as members of the unit have a disk in ``pools`` and none in ``lost``, or more."""
        found: Terms = []
        disks = range(len(self.member(u).disks))
        for x in self.cells[u]:
            gone = [self.keeps[u, x, k, q] for k in disks for q in lost if (u, x, k, q) in self.keeps]
            kept = [[self.keeps[u, x, k, q] for q in pools if (u, x, k, q) in self.keeps] for k in disks]
            if any(kept):
                touched = self.cp.new_bool_var("")
                for source in kept:
                    self.cp.add(touched >= sum(source) - sum(gone))
                found.append(touched)
        return found

    # order

    def keep_like_members_in_order(self) -> None:
        # Like members may change places: keep one of the equal answers, the one that table order prefers.
        for earlier, later in pairwise(range(len(self.units))):
            if self.units[earlier].members == self.units[later].members:
                self.cp.add(self._position(earlier) <= self._position(later))

    def decide_first_fit(self) -> None:
        """For a search in fixed order: the largest members first, hosts in the order of their table."""
        from ortools.sat.python import cp_model

        order = sorted(range(len(self.units)), key=lambda u: (-self.member(u).memory_bytes, u))
        variables = [stand for u in order for stand in self._hosts_of(u)]
        for u in order:
            for x in self.cells[u]:
                variables += [
                    keep for k in range(len(self.member(u).disks)) for keep in self._pools_of(u, x, k)
                ]
        if variables:
            self.cp.add_decision_strategy(variables, cp_model.CHOOSE_FIRST, cp_model.SELECT_MAX_VALUE)

    def _position(self, u: int) -> "Linear":
        return sum(h * self.stands[u, h] for hosts in self.cells[u].values() for h in hosts)

    # answers

    def seats(self, solver: "cp_model.CpSolver") -> tuple[Seat, ...]:
        """The seats of a solution, one a member, in the order of the members."""
        problem = self.tables.problem
        found: dict[int, Seat] = {}
        waiting = {unit.members: list(unit.members) for unit in self.units}
        for u, unit in enumerate(self.units):
            hosts = sorted(
                (h, x)
                for x, own in self.cells[u].items()
                for h in own
                if solver.boolean_value(self.stands[u, h])
            )
            for h, x in hosts:
                position = waiting[unit.members].pop(0)
                found[position] = self._seat(solver, u, x, problem.members[position], problem.hosts[h].name)
        return tuple(found[position] for position in range(len(problem.members)))

    def values_of(self, seats: Sequence[Seat]) -> list[tuple["cp_model.IntVar", int]]:
        """Each Boolean of a host or pool with its value in these seats. Args: seats: in the order of the members."""
        tables = self.tables
        taken: set[tuple[int, ...]] = set()
        waiting = {
            unit.members: sorted(unit.members, key=lambda i: tables.host_at[seats[i].host])
            for unit in self.units
        }
        for u, unit in enumerate(self.units):
            for _ in range(unit.count):
                seat = seats[waiting[unit.members].pop(0)]
                h = tables.host_at[seat.host]
                taken.add((u, h))
                taken |= {
                    (u, unit.cell_of[h], k, tables.pool_at[pool]) for k, (_, pool) in enumerate(seat.disks)
                }
        rows = (*self.stands.items(), *self.keeps.items())
        return [(variable, int(key in taken)) for key, variable in rows]

    def _seat(self, solver: "cp_model.CpSolver", u: int, x: int, member: MemberNeed, host: str) -> Seat:
        pools = self.tables.problem.pools
        return Seat(
            member=member.name,
            host=host,
            disks=tuple(
                (
                    disk.disk_id,
                    next(
                        pools[q].name
                        for q in range(len(pools))
                        if (u, x, k, q) in self.keeps and solver.boolean_value(self.keeps[u, x, k, q])
                    ),
                )
                for k, disk in enumerate(member.disks)
            ),
        )
