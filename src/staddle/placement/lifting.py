"""From one placement that leaves too little after a failure, the widest cut that the same proof holds for.

A member that stands where nothing fails holds room there; one whose host fails, and whose disks do not, asks for room. To
the guests that have to restart both are the same: room that is gone on some host that is left. So the restart is asked
again with members of ours **afloat**, as machines that may take any host of a set instead of the one where they stand. Where
not even that finds room for all, no members that are as large leave it, wherever in that set they stand. Sets are tried from the widest to the
narrowest: every host that may take the member at all, those of one domain, those alike, the seat itself. To add a machine
never makes room, so members without which the proof holds are left out.

What keeps this a proof: a member afloat needs the least that it can need on any host, and a host has at least the room
that our members may take of it at rest. Where the rules of memory and vCPUs do not hold, as in a search for the rules in
conflict, only those count that stand on hosts with room for all of them. Not here: when it is asked (reserve.py), the cut in the model (model_cuts.py).
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

import numpy as np

from staddle.failures.arrays import Ints
from staddle.failures.question import Question
from staddle.failures.restart import RestartTest
from staddle.failures.running import Running
from staddle.failures.scenario import Scenario
from staddle.placement.bars import group as group_of
from staddle.placement.data import Tables
from staddle.placement.learnt import Cut, Place, Taken
from staddle.placement.model import MemberNeed, Seat
from staddle.placement.model_cuts import meeting

__all__ = ["Lifting", "asking"]

_MOST_MEETING: Final = (
    4  # places that one member could be in at once: each choice of them is a row of the model
)
_LIMIT_S: Final = (
    0.05  # deterministic seconds for one question of many: what is not proven then is not lifted
)
_FEW: Final = 4  # from a quarter of the hosts on, a test of its own costs more than it saves
_HOME: Final = " any"  # names of sets beside those of kinds of domain
_ALIKE: Final = " alike"
_AT_REST: Final = frozenset({"memory", "vcpus"})
"""Groups without which members could hold more of a host than it has, and be forgiven for it."""


@dataclass(frozen=True, slots=True)
class _Row:
    """One member of ours: its position, and the hosts among which it is afloat, by position; None where it stands as it is."""

    member: int
    afloat: frozenset[int] | None


class Lifting:
    """One scenario that a placement does not leave enough for.

    Args: seats, ours: of the placement; without: machines of others that are not asked for; active: groups of rules that
        the placement was found under; sites_at: where a member may restart when that host fails, () for anywhere.
    """

    def __init__(
        self,
        tables: Tables,
        test: RestartTest,
        scenario: Scenario,
        seats: Sequence[Seat],
        ours: Sequence[Running],
        *,
        without: tuple[str, ...],
        active: frozenset[str],
        sites_at: Callable[[MemberNeed, str], tuple[str, ...]],
    ) -> None:
        self._tables: Final = tables
        self._scenario: Final = scenario
        self._seats: Final = seats
        self._sites_at: Final = sites_at
        self._active: Final = active
        there = {machine.name: machine for machine in asking(ours, scenario, active)}
        self._ours: Final = [there.get(machine.name, machine) for machine in ours]
        self._without: Final = without
        self._at_rest: Final = active >= _AT_REST
        wanted = _wanted(test, scenario, without, list(there.values()))
        self._whole: Final = test
        self._test: Final = _among(test, tables, wanted)
        self._failed: Final = frozenset(self._test.positions(scenario.hosts))
        self._present: Final = [i for i, one in enumerate(ours) if one.name in there and one.host in wanted]
        self._floats: Final = tuple(self._afloat(position) for position in range(len(ours)))
        self._roomy: Final = self._with_room_for_all()

    def cut(self, group: str) -> Cut:
        """The cut. Args: group: the group of rules that asks for the scenario."""
        rows = self._wider(self._needed(self._widest()))
        members = [self._tables.problem.members[row.member] for row in rows]
        assumed = {"networks", "cpu-level", "pool-reach", *(f"site:{member.site}" for member in members)}
        assumed |= {group_of(member.cluster, "latency") for member in members}
        assumed &= self._active
        if any(row.afloat is not None for row in rows) and self._at_rest:
            assumed |= _AT_REST
        return Cut(
            group=group,
            taken=self._taken(rows),
            lost_pools=self._scenario.pools,
            assumed=frozenset(assumed),
        )

    def _widest(self) -> list[_Row]:
        """All members that hold or ask for room, afloat as widely as the proof holds for all of them alike."""
        as_they_stand = [_Row(i, None) for i in self._present]
        tried = as_they_stand
        for level in self._levels(self._present):
            rows = [_Row(i, level.get(i)) for i in self._present]
            if rows != tried and self._short(rows):
                return rows
            tried = rows
        return as_they_stand

    def _needed(self, rows: list[_Row]) -> list[_Row]:
        """Without those that the proof does not need: by halves, by quarters, in the end one by one."""
        size = len(rows) // 2
        while size:
            start = 0
            while start < len(rows):
                fewer = [*rows[:start], *rows[start + size :]]
                if fewer and self._short(fewer):
                    rows = fewer
                else:
                    start += size
            size //= 2
        return rows

    def _wider(self, rows: list[_Row]) -> list[_Row]:
        """Each member by itself as widely as the proof allows."""
        for number, row in enumerate(rows):
            for wider in self._sets(row.member):
                if row.afloat is not None and len(wider) <= len(row.afloat):
                    break
                trial = [*rows[:number], _Row(row.member, wider), *rows[number + 1 :]]
                few = all(len(part) <= _MOST_MEETING for part in meeting(self._taken(trial)))
                if few and self._short(trial):
                    rows = trial
                    break
        return rows

    def _levels(self, present: Sequence[int]) -> Iterator[dict[int, frozenset[int]]]:
        """For each width the set of every member that can be afloat, the widest first."""
        sets = {i: self._named_sets(i) for i in present}
        kinds: dict[str, int] = {}
        for named in sets.values():
            for kind, inside in named.items():
                kinds[kind] = max(len(inside), kinds.get(kind, 0))
        for kind in sorted(kinds, key=lambda kind: -kinds[kind]):
            yield {i: named.get(kind, named[_HOME]) for i, named in sets.items() if named}

    def _sets(self, i: int) -> list[frozenset[int]]:
        """The sets in which a member may be afloat, the widest first."""
        return sorted(dict.fromkeys(self._named_sets(i).values()), key=lambda own: -len(own))

    def _named_sets(self, i: int) -> dict[str, frozenset[int]]:
        """By its name every set in which a member may be afloat; none where it would not count for it where it stands."""
        home, at = self._home(i), self._at(self._ours[i])
        if at in self._failed:
            return {_HOME: home} if self._is_everywhere(i, home) else {}
        if at not in self._counting(home):
            return {}
        found = {_HOME: home}
        for fate in self._tables.fates:
            if fate.kind != "host" and self._tables.host_at[self._ours[i].host] in fate.hosts:
                here = self._test.ground.host_at
                names = (self._tables.problem.hosts[h].name for h in fate.hosts)
                inside = home.intersection(here[name] for name in names if name in here)
                if fate.kind not in found or len(inside) < len(found[fate.kind]):
                    found[fate.kind] = inside
        found[_ALIKE] = self._alike(i, home)
        return found

    def _home(self, i: int) -> frozenset[int]:
        """Every host that is left and may take the member."""
        ground = self._test.ground
        return frozenset(ground.class_lists[ground.class_of(self._floats[i])]) - self._failed

    def _is_everywhere(self, i: int, afloat: frozenset[int]) -> bool:
        """Whether these are all hosts of the estate that are left and may take the member."""
        ground = self._whole.ground
        able = ground.class_lists[ground.class_of(self._floats[i])]
        gone = set(self._scenario.hosts)
        return len(afloat) == sum(ground.stands[h].name not in gone for h in able)

    def _counting(self, afloat: frozenset[int]) -> frozenset[int]:
        """Those of the hosts on which a member counts as afloat among them."""
        return afloat if self._at_rest else afloat & self._roomy

    def _alike(self, i: int, home: frozenset[int]) -> frozenset[int]:
        """The hosts of home that reach the same and have as much left."""
        arrays, ground, at = self._test.arrays, self._test.ground, self._at(self._ours[i])

        def marks(h: int) -> tuple[object, ...]:
            stand = ground.stands[h]
            left = (arrays.left_bytes_list[h], arrays.left_cores_list[h])
            return (stand.pools, stand.networks, stand.site, stand.vcpu_per_core, *left)

        own = marks(at)
        return frozenset(h for h in home if marks(h) == own)

    def _at(self, machine: Running) -> int:
        return self._test.ground.host_at[machine.host]

    def _afloat(self, i: int) -> Running:
        """The member as it asks for room anywhere: from a failed host, with the least that it needs on any."""
        member = self._tables.problem.members[i]
        least = min(host.memory_for(member) for host in self._tables.problem.hosts)
        return replace(
            self._ours[i], host=self._scenario.hosts[0], memory_bytes=least, pools=(), apart="", together=""
        )

    def _with_room_for_all(self) -> frozenset[int]:
        """The hosts on which all our members have room at once, beside what runs there."""
        arrays, ground = self._test.arrays, self._test.ground
        most = [max(m.memory_bytes, f.memory_bytes) for m, f in zip(self._ours, self._floats, strict=True)]
        cores = [sum(needs) for needs in zip(*map(ground.core_needs, self._floats), strict=True)]
        return frozenset(
            h
            for h, rate in enumerate(ground.rate_list)
            if arrays.left_bytes_list[h] >= sum(most) and arrays.left_cores_list[h] >= cores[rate]
        )

    def _short(self, rows: Sequence[_Row]) -> bool:
        """Whether it is proven that not all restarts with these members, afloat or as they stand."""
        afloat = {self._floats[row.member].name: row.afloat for row in rows if row.afloat is not None}
        extra = [(self._ours if row.afloat is None else self._floats)[row.member] for row in rows]
        question = self._test.question(
            self._scenario.hosts, self._scenario.pools, without=self._without, extra=extra
        )
        if afloat and self._at_rest:
            self._make_room(question, [row.member for row in rows if row.afloat is not None])
        names = question.arrays.names
        for number, item in enumerate(question.items):
            within = afloat.get(names[item[0]])
            if within is not None:
                hosts = question.hosts[number]
                narrower: Ints = hosts[np.isin(hosts, sorted(within))]
                if len(narrower) < len(hosts):
                    question.hosts[number] = narrower
                    question.narrow |= {number}
        return self._test.refuted(question, limit_s=_LIMIT_S)

    def _make_room(self, question: Question, members: Sequence[int]) -> None:
        """Each host that is left has at least what our members may take of it at rest.

        The survey may have overfilled a host, and thousandths of a core are rounded: neither may stand in the way of those who
        stay where they are.
        """
        ground = self._test.ground
        weights: dict[tuple[float, int], Fraction] = {}
        for h, stand in enumerate(ground.stands):
            if h in self._failed or stand.name not in self._tables.host_at:
                continue
            host = self._tables.problem.hosts[self._tables.host_at[stand.name]]
            key = (host.vcpu_per_core, int(ground.rate_of[h]))
            if key not in weights:
                weights[key] = max(
                    (
                        Fraction(ground.core_needs(self._floats[i])[key[1]], host.vcpus_for(member))
                        for i in members
                        if host.vcpus_for(member := self._tables.problem.members[i])
                    ),
                    default=Fraction(0),
                )
            cores = -(-host.vcpus * weights[key].numerator // weights[key].denominator)
            question.left_bytes[h] = max(int(question.left_bytes[h]), host.memory_bytes)
            question.left_cores[h] = max(int(question.left_cores[h]), cores)

    def _taken(self, rows: Sequence[_Row]) -> tuple[Taken, ...]:
        counts = Counter((self._alike_classes(row.member), self._place(row)) for row in rows)
        return tuple(
            Taken(classes=classes, place=place, count=count) for (classes, place), count in counts.items()
        )

    def _place(self, row: _Row) -> Place:
        machine, stands = self._ours[row.member], self._test.ground.stands
        if row.afloat is not None:
            hosts = frozenset(stands[h].name for h in self._counting(row.afloat))
            everywhere = self._is_everywhere(row.member, row.afloat)
            failed = frozenset(self._restarting_like(row.member) if everywhere else ())
            return Place(hosts=hosts, failed=failed)
        if self._at(machine) not in self._failed:
            return Place(hosts=frozenset({machine.host}))
        member = self._tables.problem.members[row.member]
        pools = tuple(pool for _, pool in self._seats[row.member].disks)
        as_large = (
            name
            for name in self._restarting_like(row.member)
            if self._tables.problem.hosts[self._tables.host_at[name]].memory_for(member)
            >= machine.memory_bytes
        )
        return Place(failed=frozenset(as_large), pools=pools)

    def _restarting_like(self, i: int) -> Iterator[str]:
        """The failed hosts from which a member restarts on no hosts but those on which this one does."""
        member, sites = self._tables.problem.members[i], set(self._ours[i].sites)
        for name in self._scenario.hosts:
            if name in self._tables.host_at:
                own = set(self._sites_at(member, name))
                if not sites or (own and own <= sites):
                    yield name

    def _alike_classes(self, i: int) -> tuple[int, ...]:
        """The classes whose members hold and ask for the same room as this one."""
        members = self._tables.problem.members

        def marks(j: int) -> tuple[object, ...]:
            own = replace(
                self._ours[j], name="", host="", memory_bytes=0, pools=(), sites=(), restart_order=0
            )
            return (
                own,
                members[j].memory_bytes,
                *(self._sites_at(members[j], h) for h in self._scenario.hosts),
            )

        return tuple(c for c, positions in enumerate(self._tables.classes) if marks(positions[0]) == marks(i))


def _wanted(
    test: RestartTest, scenario: Scenario, without: tuple[str, ...], ours: Sequence[Running]
) -> frozenset[str]:
    """The hosts that fail, and those to which something that has to restart may go: only there room counts."""
    question = test.question(scenario.hosts, scenario.pools, without=without, extra=ours)
    stands = test.ground.stands
    going = frozenset[int]().union(*(hosts.tolist() for hosts in question.hosts))
    return frozenset(scenario.hosts) | {stands[h].name for h in going}


def _among(test: RestartTest, tables: Tables, wanted: frozenset[str]) -> RestartTest:
    """The test of these hosts alone, where they are few: on a large estate most hosts are in nobody's way."""
    reserve = tables.problem.reserve
    if reserve is None or _FEW * len(wanted) > len(test.ground.stands):
        return test
    return RestartTest(
        [machine for machine in reserve.machines if machine.host in wanted],
        [stand for stand in test.ground.stands if stand.name in wanted],
        limit_s=test.limit_s,
        lost_hold=test.lost_hold,
    )


def asking(ours: Sequence[Running], scenario: Scenario, active: frozenset[str]) -> tuple[Running, ...]:
    """Our members that hold or ask for room after the scenario.

    One whose host fails with a pool of its disks is gone. Where hosts need not reach the pools of their members, pools bind
    nobody to a host.
    """
    hosts, pools = set(scenario.hosts), set(scenario.pools)
    left = [machine for machine in ours if machine.host not in hosts or not pools.intersection(machine.pools)]
    return tuple(left if "pool-reach" in active else (replace(machine, pools=()) for machine in left))
