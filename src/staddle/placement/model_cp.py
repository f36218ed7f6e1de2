"""The constraint model of one problem, with only the named groups of rules that are active.

One Boolean a unit and host, one a unit, cell, disk and pool (cells.py). What no single host or pool can take is not made
a Boolean at all. Amounts are divided by the greatest common divisor of the needs, which changes no answer. Not here: the
levels of the objective (model_levels.py), the search (search.py). The solver's library takes half a second to import and
is imported only when a model is built.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import gcd
from typing import TYPE_CHECKING, Final

from staddle.failures.minimum import FEWEST_LEADING, FEWEST_VOTES
from staddle.failures.solver import load_solver
from staddle.placement.bars import group
from staddle.placement.cells import find_units
from staddle.placement.data import Tables
from staddle.placement.fates import Fate
from staddle.placement.learnt import NOTHING_LEARNT, Cut, Learnt
from staddle.placement.model import ClusterRules, ConflictRule, DiskNeed, MemberNeed, Seat

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    Linear = cp_model.LinearExpr | int
    Terms = list[cp_model.IntVar]

__all__ = ["PlacementModel", "within"]


class PlacementModel:
    """The model.

    Args: tables: the problem; active: names of the groups of rules that hold; learnt: what was learnt about the reserve;
        only: hosts that are looked at, None for all: then nothing that is not found there is excluded; nothing_shared:
        members of a cluster share no domain below a site at all, which is the best that the first level can be.
    """

    def __init__(
        self,
        tables: Tables,
        active: frozenset[str],
        learnt: Learnt = NOTHING_LEARNT,
        *,
        only: frozenset[int] | None = None,
        nothing_shared: bool = False,
    ) -> None:
        load_solver()
        from ortools.sat.python import cp_model

        self.tables: Final = tables
        self.active: Final = active
        self.cp: Final = cp_model.CpModel()
        cut_hosts = frozenset(tables.host_at[seat.host] for cut in learnt.cuts for seat in cut.seats)
        self.units: Final = find_units(tables, active, cut_hosts=cut_hosts, only=only)
        self.stands: Final[dict[tuple[int, int], cp_model.IntVar]] = {}  # (unit, host)
        self.keeps: Final[dict[tuple[int, int, int, int], cp_model.IntVar]] = {}  # (unit, cell, disk, pool)
        self._cells: Final[list[dict[int, list[int]]]] = []  # of each unit, hosts by cell
        self._cells_with: Final[list[dict[int, set[int]]]] = []  # of each unit, cells by pool
        self._kept: Final[dict[tuple[int, int, int], Terms]] = {}
        self._barred_pools: Final[dict[tuple[int, int], list[tuple[ConflictRule, ...]]]] = {}
        self._touches: Final[dict[tuple[int, str, str], Terms]] = {}
        self.bound_to: Final[dict[frozenset[int], list[tuple[int, cp_model.IntVar]]]] = {}
        """By the pools of a reach: (memory in bytes, Boolean) of each member that has a disk in one of them."""
        self.amounts: Final[dict[str, Linear]] = {}
        """What was already added to be made least, by its level."""
        self._make_seats()
        self.open_hosts: Final = frozenset(h for _, h in self.stands)
        self._units_of: Final = {
            rules.name: [u for u in range(len(self.units)) if self.member(u).cluster == rules.name]
            for rules in tables.problem.clusters
        }
        self._reach()
        self._capacities()
        for rules in tables.problem.clusters:
            self._one_cpu_level(rules)
            self._latency(rules)
            self._together(rules)
            self._shared_domains(rules)
            if nothing_shared:
                self._share_nothing(rules)
        self._minimum(learnt)
        self._reserve()
        for cut in learnt.cuts:
            self._cut(cut)
        self._like_members()
        self._first_fit_order()

    def member(self, u: int) -> MemberNeed:
        """A member of that unit; they are alike."""
        return self.tables.problem.members[self.units[u].members[0]]

    def units_of(self, rules: ClusterRules) -> list[int]:
        """The units of a cluster."""
        return self._units_of[rules.name]

    # seats

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
            self._cells.append(cells)
            self._cells_with.append({})
            self.cp.add(sum(self._hosts_of(u)) == unit.count)
            for x, hosts in cells.items():
                if len(hosts) > 1 and unit.count > 1:
                    self.cp.add_at_most_one(self.stands[u, h] for h in hosts)
                self._make_pools(u, x)

    def _make_pools(self, u: int, x: int) -> None:
        problem, member = self.tables.problem, self.member(u)
        reached = {pool for h in self._cells[u][x] for pool in problem.hosts[h].pools}
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
        return [self.stands[u, h] for hosts in self._cells[u].values() for h in hosts]

    def _in_cell(self, u: int, x: int) -> "Linear":
        return sum(self.stands[u, h] for h in self._cells[u][x])

    def _pools_of(self, u: int, x: int, k: int) -> "Terms":
        return self._kept.get((u, x, k), [])

    # rules

    def _reach(self) -> None:
        if "pool-reach" not in self.active:
            return
        problem = self.tables.problem
        for (u, x, _, q), keep in self.keeps.items():
            hosts = self._cells[u][x]
            reaching = [self.stands[u, h] for h in hosts if problem.pools[q].name in problem.hosts[h].pools]
            if len(reaching) < len(hosts):
                self.cp.add(keep <= sum(reaching))

    def _capacities(self) -> None:
        problem = self.tables.problem
        at_host: dict[int, list[int]] = {}
        at_pool: dict[int, list[tuple[int, int, int]]] = {}
        for u, h in self.stands:
            at_host.setdefault(h, []).append(u)
        for u, x, k, q in self.keeps:
            at_pool.setdefault(q, []).append((u, x, k))
        for h, units in at_host.items():
            host = problem.hosts[h]
            taken = [(self.member(u), self.stands[u, h]) for u in units]
            self.capacity("memory", [(host.memory_for(m), var) for m, var in taken], host.memory_bytes)
            self.capacity("vcpus", [(host.vcpus_for(m), var) for m, var in taken], host.vcpus)
        for q, rows in at_pool.items():
            pool = problem.pools[q]
            kept = [(self.member(u).disks[k], self.keeps[u, x, k, q]) for u, x, k in rows]
            self.capacity("pool-free", [(d.written_bytes, var) for d, var in kept], pool.free_bytes)
            self.capacity("pool-promise", [(d.promised_bytes, var) for d, var in kept], pool.promise_bytes)

    def capacity(self, name: str, terms: Iterable[tuple[int, "cp_model.IntVar"]], room: int) -> None:
        """In one room, the needs of those who take it stay within it, where that group of rules holds."""
        if name in self.active:
            within(self.cp, terms, room)

    def _one_cpu_level(self, rules: ClusterRules) -> None:
        problem = self.tables.problem
        if group(rules.name, "one-cpu-level") not in self.active or not rules.one_cpu_level:
            return
        levels = tuple(dict.fromkeys(host.cpu_level for host in problem.hosts))
        chosen = {level: self.cp.new_bool_var("") for level in levels}
        self.cp.add_exactly_one(chosen.values())
        own = set(self.units_of(rules))
        for (u, h), stand in self.stands.items():
            if u in own and self.member(u).data:
                self.cp.add_implication(stand, chosen[problem.hosts[h].cpu_level])

    def _latency(self, rules: ClusterRules) -> None:
        if group(rules.name, "latency") not in self.active:
            return
        holding = [u for u in self.units_of(rules) if self.member(u).data]
        sites = {name for pair in rules.too_far for name in pair}
        used = {name: self.cp.new_bool_var("") for name in sorted(sites)}
        for u in holding:
            for h in (h for hosts in self._cells[u].values() for h in hosts):
                for kind, name in self.tables.problem.hosts[h].domains:
                    if kind == "site" and name in used:
                        self.cp.add_implication(self.stands[u, h], used[name])
        for one, other in rules.too_far:
            self.cp.add(used[one] + used[other] <= 1)

    def _together(self, rules: ClusterRules) -> None:
        """All hosts of the cluster's members stand in one domain of each kind."""
        for kind in rules.together:
            if group(rules.name, f"together:{kind}") not in self.active:
                continue
            chosen = {
                fate.name: (self.cp.new_bool_var(""), frozenset(fate.hosts))
                for fate in self.tables.fates
                if fate.kind == kind
            }
            self.cp.add_exactly_one(one for one, _ in chosen.values())
            for u in self.units_of(rules):
                for hosts in self._cells[u].values():
                    for h in hosts:
                        around = [one for one, inside in chosen.values() if h in inside]
                        self.cp.add(self.stands[u, h] <= sum(around))

    def touches(self, u: int, fate: Fate) -> "Terms":
        """Booleans of which as many are 1 as members of the unit are touched by that domain, or more."""
        key = (u, fate.kind, fate.name)
        if key not in self._touches:
            self._touches[key] = self.touching(u, frozenset(fate.hosts), frozenset(fate.pools))
        return self._touches[key]

    def touching(self, u: int, hosts: frozenset[int], pools: frozenset[int]) -> "Terms":
        """The same for any set of hosts and pools."""
        found: Terms = []
        cells, disks = self._cells[u], range(len(self.member(u).disks) if pools else 0)
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

    def _shared_domains(self, rules: ClusterRules) -> None:
        units = self.units_of(rules)
        votes = sum(self.units[u].count for u in units if self.member(u).votes)
        leader = next((u for u in units if self.member(u).leads == "first"), None)
        deputy = next((u for u in units if self.member(u).leads == "second"), None)
        most = {apart.kind: apart.most for apart in rules.apart}
        for fate in self.tables.fates:
            if not fate.pools and self.open_hosts.isdisjoint(fate.hosts):
                continue
            if group(rules.name, f"apart:{fate.kind}") in self.active:
                everyone = [t for u in units for t in self.touches(u, fate)]
                if len(everyone) > most[fate.kind]:
                    self.cp.add(sum(everyone) <= most[fate.kind])
            if group(rules.name, f"majority:{fate.kind}") in self.active:
                voters = [t for u in units if self.member(u).votes for t in self.touches(u, fate)]
                self.cp.add(2 * sum(voters) <= votes - 1)
            wanted = group(rules.name, f"deputy-apart:{fate.kind}") in self.active
            if wanted and leader is not None and deputy is not None:
                self.cp.add_at_most_one([*self.touches(leader, fate), *self.touches(deputy, fate)])

    def _share_nothing(self, rules: ClusterRules) -> None:
        apart = {
            row.kind
            for row in rules.apart
            if row.most == 1 and group(rules.name, f"apart:{row.kind}") in self.active
        }
        units = self.units_of(rules)
        for fate in self.tables.fates:
            if fate.below_site and fate.kind not in apart:
                if not fate.pools and self.open_hosts.isdisjoint(fate.hosts):
                    continue
                touched = [t for u in units for t in self.touches(u, fate)]
                if len(touched) > 1:
                    self.cp.add_at_most_one(touched)

    def _minimum(self, learnt: Learnt) -> None:
        """What must be left of a cluster when one domain fails, or several that the design names together.

        Scenarios of two and more domains of a kind are too many to be written down: they are asked about after a
        placement is found (reserve.py), and those that it does not survive come back as learnt.
        """
        tables = self.tables
        reserve = tables.problem.reserve
        for position, survive in enumerate(reserve.survive if reserve else ()):
            if group(survive.cluster, f"survive:{survive.sentence}") not in self.active:
                continue
            many = len(survive.scenarios) > len(tables.fates)
            for scenario in learnt.scenarios.get(position, ()) if many else survive.scenarios:
                hosts = frozenset(tables.host_at[n] for n in scenario.hosts if n in tables.host_at)
                if not scenario.pools and hosts.isdisjoint(self.open_hosts):
                    continue
                pools = frozenset(tables.pool_at[n] for n in scenario.pools if n in tables.pool_at)
                self._left(tables.rules[survive.cluster], hosts, pools, survive.least_data)

    def _left(
        self, rules: ClusterRules, hosts: frozenset[int], pools: frozenset[int], least_data: int
    ) -> None:
        units = self.units_of(rules)
        lost = {u: self.touching(u, hosts, pools) for u in units}
        holding = [u for u in units if self.member(u).data]
        voting = [u for u in units if self.member(u).votes]
        spare = sum(self.units[u].count for u in holding) - least_data
        self._at_most([t for u in holding for t in lost[u]], spare)
        votes = sum(self.units[u].count for u in voting)
        if votes >= FEWEST_VOTES:
            self._at_most([t for u in voting for t in lost[u]], (votes - 1) // 2)
        leading = [u for u in units if self.member(u).leads != "never"]
        count = sum(self.units[u].count for u in leading)
        if count >= FEWEST_LEADING:
            self._at_most([t for u in leading for t in lost[u]], count - 1)

    def _at_most(self, terms: "Terms", most: int) -> None:
        if len(terms) > most:
            self.cp.add(sum(terms) <= most)
        elif most < 0:
            self.cp.add_bool_or([])  # there are too few of them from the start

    def _reserve(self) -> None:
        reserve = self.tables.problem.reserve
        if reserve is None:
            return
        for reach in self.tables.reaches:
            bound = [
                (self.member(u).memory_bytes, touched)
                for u in range(len(self.units))
                for touched in self.touching(u, frozenset(), reach.pools)
            ]
            self.bound_to[reach.pools] = bound
            for line in reach.lines:
                asking = [reserve.survive[position] for position in line.survive]
                names = {group(survive.cluster, f"survive:{survive.sentence}") for survive in asking}
                if line.binding and names & self.active:
                    within(self.cp, bound, line.capacity_bytes - line.base_bytes)

    def _cut(self, cut: Cut) -> None:
        """Not all seats of the cut are taken, by whichever members of their classes."""
        if cut.group not in self.active:
            return
        tables = self.tables
        all_taken = []
        for seat, times in Counter(cut.seats).items():  # like members may stand in the same seat
            h = tables.host_at[seat.host]
            there: Terms = []
            for u, unit in enumerate(self.units):
                if unit.members != tables.classes[seat.class_position] or (u, h) not in self.stands:
                    continue
                keys = [(u, unit.cell_of[h], k, tables.pool_at[pool]) for k, pool in enumerate(seat.pools)]
                if all(key in self.keeps for key in keys):
                    parts = [self.stands[u, h], *(self.keeps[key] for key in keys)]
                    there.append(self.cp.new_bool_var(""))
                    self.cp.add(there[-1] >= sum(parts) - len(parts) + 1)
            taken = self.cp.new_bool_var("")
            all_taken.append(taken)
            self.cp.add(sum(there) <= times - 1 + len(there) * taken)
        self.cp.add(sum(all_taken) <= len(all_taken) - 1)

    def _like_members(self) -> None:
        # Like members may change places: keep one of the equal answers, the one that table order prefers.
        for earlier, later in pairwise(range(len(self.units))):
            if self.units[earlier].members == self.units[later].members:
                self.cp.add(self._position(earlier) <= self._position(later))

    def _first_fit_order(self) -> None:
        """For a search in fixed order: the largest members first, hosts in the order of their table."""
        from ortools.sat.python import cp_model

        order = sorted(range(len(self.units)), key=lambda u: (-self.member(u).memory_bytes, u))
        variables = [stand for u in order for stand in self._hosts_of(u)]
        for u in order:
            for x in self._cells[u]:
                variables += [
                    keep for k in range(len(self.member(u).disks)) for keep in self._pools_of(u, x, k)
                ]
        if variables:
            self.cp.add_decision_strategy(variables, cp_model.CHOOSE_FIRST, cp_model.SELECT_MAX_VALUE)

    def _position(self, u: int) -> "Linear":
        return sum(h * self.stands[u, h] for hosts in self._cells[u].values() for h in hosts)

    # answers

    def seats(self, solver: "cp_model.CpSolver") -> tuple[Seat, ...]:
        """The seats of a solution, one a member, in the order of the members."""
        problem = self.tables.problem
        found: dict[int, Seat] = {}
        waiting = {unit.members: list(unit.members) for unit in self.units}
        for u, unit in enumerate(self.units):
            hosts = sorted(
                (h, x)
                for x, own in self._cells[u].items()
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


def within(cp: "cp_model.CpModel", terms: Iterable[tuple[int, "cp_model.IntVar"]], room: int) -> None:
    """Add that the needs of those that are 1 stay within the room. Args: terms: (need, Boolean)."""
    present = [(need, taken) for need, taken in terms if need]
    step = gcd(*(need for need, _ in present))
    if step and sum(need for need, _ in present) > room:
        cp.add(sum(need // step * taken for need, taken in present) <= room // step)
