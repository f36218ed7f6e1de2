"""The constraint model of one problem, with only the named groups of rules that are active.

One Boolean a member and host, one a disk and pool. What no single host or pool can take is not made a Boolean at all.
Amounts are divided by the greatest common divisor of the needs, which changes no answer. Not here: the search
(solve.py). The solver's library takes half a second to import and is imported only when a model is built.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise
from math import gcd
from typing import TYPE_CHECKING, Final

from staddle.placement.data import Fate, Tables, fill_unit

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    Linear = cp_model.LinearExpr | int

__all__ = ["PlacementModel"]

_Key = tuple[int] | tuple[int, int]  # (member,), or (member, disk)


class PlacementModel:
    """The model. ``level_expression`` adds what one level of the objective needs and gives what to minimise.

    Args: tables: the problem; active: names of the groups of rules that hold.
    """

    def __init__(self, tables: Tables, active: frozenset[str]) -> None:
        from ortools.sat.python import cp_model

        self.tables: Final = tables
        self.active: Final = active
        self.cp: Final = cp_model.CpModel()
        self.stands: Final[dict[tuple[int, int], cp_model.IntVar]] = {}  # (member, host)
        self.keeps: Final[dict[tuple[int, int, int], cp_model.IntVar]] = {}  # (member, disk, pool)
        self._touches: Final[dict[tuple[int, str, str], list[cp_model.IntVar]]] = {}
        self._make_seats()
        self._reach()
        self._capacities()
        self._one_cpu_level()
        self._shared_domains()
        self._like_members()
        self._first_fit_order()

    # seats

    def _make_seats(self) -> None:
        problem = self.tables.problem
        for i, member in enumerate(problem.members):
            for h, host in enumerate(problem.hosts):
                if not any(bar.name in self.active for bar in self.tables.host_bars(member, host)):
                    self.stands[i, h] = self.cp.new_bool_var("")
            self.cp.add_exactly_one(self._hosts_of(i))
            for k, disk in enumerate(member.disks):
                for q, pool in enumerate(problem.pools):
                    if not any(bar.name in self.active for bar in self.tables.pool_bars(member, disk, pool)):
                        self.keeps[i, k, q] = self.cp.new_bool_var("")
                self.cp.add_exactly_one(self._pools_of(i, k))

    def _hosts_of(self, i: int) -> list["cp_model.IntVar"]:
        hosts = range(len(self.tables.problem.hosts))
        return [self.stands[i, h] for h in hosts if (i, h) in self.stands]

    def _pools_of(self, i: int, k: int) -> list["cp_model.IntVar"]:
        pools = range(len(self.tables.problem.pools))
        return [self.keeps[i, k, q] for q in pools if (i, k, q) in self.keeps]

    # rules

    def _reach(self) -> None:
        if "pool-reach" not in self.active:
            return
        hosts = self.tables.problem.hosts
        for (i, _, q), keep in self.keeps.items():
            pool = self.tables.problem.pools[q].name
            reaching = [
                self.stands[i, h]
                for h, host in enumerate(hosts)
                if (i, h) in self.stands and pool in host.pools
            ]
            self.cp.add(keep <= sum(reaching))

    def _capacities(self) -> None:
        problem = self.tables.problem
        members = list(enumerate(problem.members))
        disks = [(i, k, disk) for i, member in members for k, disk in enumerate(member.disks)]
        memory: dict[_Key, int] = {(i,): member.memory_bytes for i, member in members}
        vcpus: dict[_Key, int] = {(i,): member.vcpus for i, member in members}
        written: dict[_Key, int] = {(i, k): disk.written_bytes for i, k, disk in disks}
        promised: dict[_Key, int] = {(i, k): disk.promised_bytes for i, k, disk in disks}
        self._capacity("memory", memory, [host.memory_bytes for host in problem.hosts])
        self._capacity("vcpus", vcpus, [host.vcpus for host in problem.hosts])
        self._capacity("pool-free", written, [pool.free_bytes for pool in problem.pools])
        self._capacity("pool-promise", promised, [pool.promise_bytes for pool in problem.pools])

    def _capacity(self, group: str, needs: Mapping[_Key, int], rooms: list[int]) -> None:
        """In each room, the needs of those who take it stay within it."""
        step = gcd(*needs.values())
        if group not in self.active or step == 0:
            return
        for position, room in enumerate(rooms):
            terms = [(need // step, self._taken((*key, position))) for key, need in needs.items() if need]
            present = [(need, taken) for need, taken in terms if taken is not None]
            if sum(need for need, _ in present) > room // step:
                self.cp.add(sum(need * taken for need, taken in present) <= room // step)

    def _taken(self, key: tuple[int, ...]) -> "cp_model.IntVar | None":
        return (
            self.stands.get((key[0], key[1])) if len(key) == 2 else self.keeps.get((key[0], key[1], key[2]))
        )

    def _one_cpu_level(self) -> None:
        problem = self.tables.problem
        if "cpu-level" not in self.active or not problem.one_cpu_level:
            return
        levels = tuple(dict.fromkeys(host.cpu_level for host in problem.hosts))
        if len(levels) < 2:
            return
        chosen = {level: self.cp.new_bool_var("") for level in levels}
        self.cp.add_exactly_one(chosen.values())
        for (i, h), stand in self.stands.items():
            if problem.members[i].data:
                self.cp.add_implication(stand, chosen[problem.hosts[h].cpu_level])

    def touches(self, i: int, fate: Fate) -> list["cp_model.IntVar"]:
        """Booleans whose sum is at least 1 when that domain touches member i, and never needs to be above 1."""
        key = (i, fate.kind, fate.name)
        if key not in self._touches:
            self._touches[key] = self._make_touches(i, fate)
        return self._touches[key]

    def _make_touches(self, i: int, fate: Fate) -> list["cp_model.IntVar"]:
        sources = [[self.stands[i, h] for h in fate.hosts if (i, h) in self.stands]]
        for k in range(len(self.tables.problem.members[i].disks)):
            sources.append([self.keeps[i, k, q] for q in fate.pools if (i, k, q) in self.keeps])
        present = [source for source in sources if source]
        if len(present) < 2:
            return present[0] if present else []
        touched = self.cp.new_bool_var("")
        for source in present:
            self.cp.add(sum(source) <= touched)
        return [touched]

    def _shared_domains(self) -> None:
        members = self.tables.problem.members
        votes = sum(member.votes for member in members)
        leader = next((i for i, member in enumerate(members) if member.leads == "first"), None)
        deputy = next((i for i, member in enumerate(members) if member.leads == "second"), None)
        for fate in self.tables.fates:
            if f"apart:{fate.kind}" in self.active:
                self.cp.add_at_most_one(t for i in range(len(members)) for t in self.touches(i, fate))
            if f"majority:{fate.kind}" in self.active:
                voters = [t for i, m in enumerate(members) if m.votes for t in self.touches(i, fate)]
                self.cp.add(2 * sum(voters) <= votes - 1)
            if f"deputy-apart:{fate.kind}" in self.active and leader is not None and deputy is not None:
                self.cp.add_at_most_one([*self.touches(leader, fate), *self.touches(deputy, fate)])

    def _like_members(self) -> None:
        # Like members may change places: keep one of the equal answers, the one that table order prefers.
        for positions in self.tables.classes:
            for earlier, later in pairwise(positions):
                self.cp.add(self._position(earlier) <= self._position(later))

    def _first_fit_order(self) -> None:
        """For a search in fixed order: the largest members first, hosts in the order of their table."""
        from ortools.sat.python import cp_model

        members = self.tables.problem.members
        order = sorted(range(len(members)), key=lambda i: (-members[i].memory_bytes, i))
        stands = [stand for i in order for stand in self._hosts_of(i)]
        keeps = [keep for i in order for k in range(len(members[i].disks)) for keep in self._pools_of(i, k)]
        if stands:
            self.cp.add_decision_strategy([*stands, *keeps], cp_model.CHOOSE_FIRST, cp_model.SELECT_MAX_VALUE)

    def _position(self, i: int) -> "Linear":
        return sum(h * stand for (j, h), stand in self.stands.items() if j == i)

    # levels of the objective, see cost.py

    def level_expression(self, level: str) -> "Linear":
        """What to minimise at that level of cost.LEVELS. Adds the Booleans and constraints that it needs."""
        return {
            "shared fate": self._shared_fate,
            "movement": self._movement,
            "host fill": self._host_fill,
            "pool fill": self._pool_fill,
            "table order": self._table_order,
        }[level]()

    def _shared_fate(self) -> "Linear":
        # Of n members in one domain the kth adds k - 1 pairs. The costs rise, so that least cost takes the steps in order.
        total: Linear = 0
        members = range(len(self.tables.problem.members))
        for fate in self.tables.fates:
            if not fate.below_site or f"apart:{fate.kind}" in self.active:
                continue
            touching = [(i, self.touches(i, fate)) for i in members]
            most = min(sum(bool(t) for _, t in touching), self._most_members(fate))
            steps = [(k - 1, self.cp.new_bool_var("")) for k in range(2, most + 1)]
            if steps:
                self.cp.add(sum(t for _, ts in touching for t in ts) <= 1 + sum(step for _, step in steps))
                total += fate.weight * sum(pairs * step for pairs, step in steps)
        return total

    def _most_members(self, fate: Fate) -> int:
        """How many members that host can hold at most by memory; no such limit for other domains."""
        problem = self.tables.problem
        if fate.kind != "host" or fate.pools or "memory" not in self.active:
            return len(problem.members)
        left, count = problem.hosts[fate.hosts[0]].memory_bytes, 0
        for need in sorted(member.memory_bytes for member in problem.members):
            left -= need
            count += left >= 0
        return count

    def _movement(self) -> "Linear":
        problem = self.tables.problem
        stays: list[cp_model.IntVar] = []
        every = 0
        for i, member in enumerate(problem.members):
            before = self.tables.settled.get(member.name)
            if before is None:
                continue
            every += 1 + min(len(before.disks), len(member.disks))
            host = self.stands.get((i, self.tables.host_at.get(before.host, -1)))
            pools = (
                self.keeps.get((i, k, self.tables.pool_at.get(pool, -1)))
                for k, (_, pool) in enumerate(before.disks)
            )
            stays += [stay for stay in (host, *pools) if stay is not None]
        return every - sum(stays)

    def _host_fill(self) -> "Linear":
        rooms = [(host.memory_total_bytes, host.memory_bytes) for host in self.tables.problem.hosts]
        needs: dict[_Key, int] = {
            (i,): member.memory_bytes for i, member in enumerate(self.tables.problem.members)
        }
        return self._worst_fill(rooms, needs, alone="apart:host" in self.active)

    def _pool_fill(self) -> "Linear":
        rooms = [(pool.capacity_bytes, pool.free_bytes) for pool in self.tables.problem.pools]
        members = enumerate(self.tables.problem.members)
        needs: dict[_Key, int] = {
            (i, k): disk.written_bytes for i, member in members for k, disk in enumerate(member.disks)
        }
        return self._worst_fill(rooms, needs, alone=False)

    def _worst_fill(
        self, rooms: Sequence[tuple[int, int]], needs: Mapping[_Key, int], *, alone: bool
    ) -> "Linear":
        """At least the fill of every room that is taken at all, as data.fill_permille counts it."""
        bounds: list[tuple[int, cp_model.IntVar]] = []
        sums: list[tuple[Linear, cp_model.IntVar, int]] = []
        most = 0
        for position, (total, left) in enumerate(rooms):
            unit = fill_unit(total)
            whole, base = max(1, -(-total // unit)), (total - left) // unit
            terms = [(need // unit, self._taken((*key, position))) for key, need in needs.items()]
            present = [(need, taken) for need, taken in terms if taken is not None]
            most = max(most, -(-1000 * (base + sum(need for need, _ in present)) // whole))
            bounds += [(-(-1000 * (base + need) // whole), taken) for need, taken in present]
            if not alone and len(present) > 1:
                used = self._any_of(taken for _, taken in present)
                sums.append((1000 * (base + sum(need * taken for need, taken in present)), used, whole))
        worst = self.cp.new_int_var(0, most, "")
        for bound, taken in bounds:
            self.cp.add(worst >= bound).only_enforce_if(taken)
        for expression, used, whole in sums:
            self.cp.add(whole * worst >= expression).only_enforce_if(used)
        return worst

    def _any_of(self, terms: Iterable["cp_model.IntVar"]) -> "cp_model.IntVar":
        used = self.cp.new_bool_var("")
        for term in terms:
            self.cp.add_implication(term, used)
        return used

    def _table_order(self) -> "Linear":
        count = len(self.tables.problem.members)
        hosts = sum((count - i) * h * stand for (i, h), stand in self.stands.items())
        pools = sum((count - i) * q * keep for (i, _, q), keep in self.keeps.items())
        return hosts + pools
