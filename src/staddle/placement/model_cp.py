"""The constraint model of one problem, with only the named groups of rules that are active.

The rules over the Booleans of model_seats.py. Amounts are divided by the greatest common divisor of the needs, which
changes no answer. Not here: what was learnt about the reserve (model_cuts.py), the levels of the objective
(model_levels.py), the search (search.py).
"""

from collections.abc import Iterable
from math import gcd
from typing import TYPE_CHECKING, Final

from staddle.failures.minimum import FEWEST_LEADING, FEWEST_VOTES
from staddle.placement.bars import group
from staddle.placement.data import Tables
from staddle.placement.learnt import NOTHING_LEARNT, Learnt
from staddle.placement.model import ClusterRules
from staddle.placement.model_cuts import add_cut
from staddle.placement.model_seats import SeatModel

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    from staddle.placement.model_seats import Linear, Terms

__all__ = ["PlacementModel", "within"]

_BIND: Final = frozenset({"memory", "pool-reach"})
"""Groups by which what is bound to hosts by its pools must fit into them."""


class PlacementModel(SeatModel):
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
        super().__init__(tables, active, learnt, only=only)
        self.bound_to: Final[dict[frozenset[int], list[tuple[int, cp_model.IntVar]]]] = {}
        """By the pools of a reach: (memory in bytes, Boolean) of each member that has a disk in one of them."""
        self.amounts: Final[dict[str, Linear]] = {}
        """What was already added to be made least, by its level."""
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
            add_cut(self, cut)
        self.keep_like_members_in_order()
        self.decide_first_fit()

    def _reach(self) -> None:
        if "pool-reach" not in self.active:
            return
        problem = self.tables.problem
        for (u, x, _, q), keep in self.keeps.items():
            hosts = self.cells[u][x]
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
            for h in (h for hosts in self.cells[u].values() for h in hosts):
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
                for hosts in self.cells[u].values():
                    for h in hosts:
                        around = [one for one, inside in chosen.values() if h in inside]
                        self.cp.add(self.stands[u, h] <= sum(around))

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
        # With too few from the start every loss is one too many; a failure that takes none of them asks for nothing.
        losing = holding if spare >= 0 else units
        self._at_most([t for u in losing for t in lost[u]], max(0, spare))
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
            if not self.active >= _BIND:
                continue
            for line in reach.lines:
                asking = [reserve.survive[position] for position in line.survive]
                names = {group(survive.cluster, f"survive:{survive.sentence}") for survive in asking}
                if line.binding and names & self.active:
                    left = (
                        bound if not line.lost_pools else self._bound_and_left(reach.pools, line.lost_pools)
                    )
                    within(self.cp, left, line.capacity_bytes - line.base_bytes)

    def _bound_and_left(
        self, pools: frozenset[int], lost: frozenset[int]
    ) -> "list[tuple[int, cp_model.IntVar]]":
        """(memory, Boolean) of the members that have a disk in one of these pools and none in a lost one."""
        return [
            (self.member(u).memory_bytes, touched)
            for u in range(len(self.units))
            for touched in self.touching_but(u, pools, lost)
        ]


def within(cp: "cp_model.CpModel", terms: Iterable[tuple[int, "cp_model.IntVar"]], room: int) -> None:
    """Add that the needs of those that are 1 stay within the room. Args: terms: (need, Boolean)."""
    present = [(need, taken) for need, taken in terms if need]
    step = gcd(*(need for need, _ in present))
    if step and sum(need for need, _ in present) > room:
        cp.add(sum(need // step * taken for need, taken in present) <= room // step)
