"""A second solver agrees: the question written once more as linear rows for HiGHS, on random small questions.

Only the values of the question are shared. HiGHS is an open-source mixed-integer solver of another kind (branch and
cut on floating-point numbers), here with whole numbers small enough to be exact.
"""

from itertools import combinations
from random import Random

import highspy
import pytest

from staddle.placement.model import (
    Apart,
    BestShown,
    ClusterRules,
    DiskNeed,
    HostRoom,
    MemberNeed,
    NoneExists,
    PoolRoom,
    Problem,
)
from staddle.placement.solve import solve

QUESTIONS = 50


def random_question(draw: int) -> Problem:
    """Up to six members on up to eight hosts in racks, pools by rack; about a third of them without an answer."""
    chance = Random(draw)
    racks = chance.randint(1, 4)
    hosts = tuple(
        HostRoom(
            name=f"h{n}",
            memory_bytes=chance.randint(4, 14),
            vcpus=chance.randint(2, 10),
            memory_total_bytes=20,
            networks=("a", "b") if chance.random() < 0.8 else ("a",),
            pools=tuple(dict.fromkeys((f"p{n % racks}", chance.choice(("p0", f"p{n % racks}"))))),
            domains=(("rack", f"r{n % racks}"),),
        )
        for n in range(chance.randint(2, 8))
    )
    pools = tuple(
        PoolRoom(
            name=f"p{n}",
            free_bytes=chance.randint(4, 14),
            promise_bytes=chance.randint(4, 16),
            capacity_bytes=20,
        )
        for n in range(racks)
    )
    members = tuple(
        MemberNeed(
            name=f"m{n}",
            memory_bytes=chance.randint(1, 6),
            vcpus=chance.randint(1, 4),
            networks=chance.choice((("a",), ("a", "b"))),
            disks=tuple(
                DiskNeed(
                    disk_id=f"d{k}", promised_bytes=chance.randint(1, 5), written_bytes=chance.randint(1, 3)
                )
                for k in range(chance.randint(0, 2))
            ),
        )
        for n in range(chance.randint(1, 6))
    )
    apart = chance.choice(
        (
            (),
            (Apart(kind="host"),),
            (Apart(kind="host", most=2),),
            (Apart(kind="rack"),),
            (Apart(kind="rack", most=2),),
        )
    )
    majority = chance.choice(((), (), ("host",), ("rack",)))
    present = {key for h in hosts for key in h.pools}
    return Problem(
        members=members,
        hosts=hosts,
        pools=tuple(p for p in pools if p.name in present),
        clusters=(ClusterRules(apart=apart, majority_kinds=majority),),
    )


class Rows:
    """The same question in HiGHS's terms."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.highs = highspy.Highs()  # type: ignore[no-untyped-call]  # the library's own gap
        self.highs.setOptionValue("output_flag", False)
        self.highs.setOptionValue("threads", 1)
        self.highs.setOptionValue("mip_rel_gap", 0.0)
        self.costs: list[tuple[int, int]] = []
        self.count = 0
        members, hosts, pools = problem.members, problem.hosts, problem.pools
        self.on = {(m.name, h.name): self.whole() for m in members for h in hosts}
        self.kept = {
            (m.name, d.disk_id, p.name): self.whole() for m in members for d in m.disks for p in pools
        }
        for m in members:
            self.row([(1, self.on[m.name, h.name]) for h in hosts], 1, 1)
            for h in hosts:
                if not set(m.networks) <= set(h.networks):
                    self.row([(1, self.on[m.name, h.name])], 0, 0)
            for d in m.disks:
                self.row([(1, self.kept[m.name, d.disk_id, p.name]) for p in pools], 1, 1)
                for p in pools:
                    near = [(-1, self.on[m.name, h.name]) for h in hosts if p.name in h.pools]
                    self.row([(1, self.kept[m.name, d.disk_id, p.name]), *near], -99, 0)
        for h in hosts:
            self.row([(m.memory_bytes, self.on[m.name, h.name]) for m in members], 0, h.memory_bytes)
            self.row([(m.vcpus, self.on[m.name, h.name]) for m in members], 0, h.vcpus)
        for p in pools:
            disks = [(d, self.kept[m.name, d.disk_id, p.name]) for m in members for d in m.disks]
            self.row([(d.written_bytes, x) for d, x in disks], 0, p.free_bytes)
            self.row([(d.promised_bytes, x) for d, x in disks], 0, p.promise_bytes)
        for key, touch in self._touches().items():
            most = [a.most for a in problem.clusters[0].apart if a.kind == key[0]]
            if most:
                self.row([(1, x) for x in touch], 0, most[0])
            if key[0] in problem.clusters[0].majority_kinds:
                self.row([(1, x) for x in touch], 0, (len(members) - 1) // 2)
            for one, other in combinations(touch, 2):
                both = self.whole()
                self.row([(1, one), (1, other), (-1, both)], -1, 1)
                self.costs.append(({"host": 4, "pool": 2}.get(key[0], 1), both))

    def whole(self, most: int = 1) -> int:
        self.highs.addCol(0.0, 0.0, float(most), 0, [], [])
        self.highs.changeColIntegrality(self.count, highspy.HighsVarType.kInteger)
        self.count += 1
        return self.count - 1

    def row(self, terms: list[tuple[int, int]], low: float, high: float) -> None:
        self.highs.addRow(low, high, len(terms), [x for _, x in terms], [float(a) for a, _ in terms])

    def _touches(self) -> dict[tuple[str, str], list[int]]:
        """By each host, rack and pool, a column a member that is 1 where it touches it."""
        found: dict[tuple[str, str], list[int]] = {}
        for h in self.problem.hosts:
            found["host", h.name] = [self.on[m.name, h.name] for m in self.problem.members]
        for rack in dict.fromkeys(name for h in self.problem.hosts for _, name in h.domains):
            inside = [h for h in self.problem.hosts if ("rack", rack) in h.domains]
            found["rack", rack] = []
            for m in self.problem.members:
                touch = self.whole()
                self.row([(1, touch), *((-1, self.on[m.name, h.name]) for h in inside)], 0, 0)
                found["rack", rack].append(touch)
        for p in self.problem.pools:
            found["pool", p.name] = []
            for m in self.problem.members:
                touch = self.whole()
                for d in m.disks:
                    self.row([(1, self.kept[m.name, d.disk_id, p.name]), (-1, touch)], -1, 0)
                found["pool", p.name].append(touch)
        return found

    def least(self, costs: list[tuple[int, int]]) -> int | None:
        """The least sum, None where nothing is possible."""
        for x in range(self.count):
            self.highs.changeColCost(x, 0.0)
        for cost, x in costs:
            self.highs.changeColCost(x, float(cost))
        self.highs.run()
        status = self.highs.getModelStatus()
        if status == highspy.HighsModelStatus.kInfeasible:
            return None
        assert status == highspy.HighsModelStatus.kOptimal
        return round(self.highs.getInfo().objective_function_value)

    def least_fill(self, shared: int) -> int:
        """Of the fullest host used, in twentieths, with no more shared than that."""
        self.row([(cost, x) for cost, x in self.costs], 0, shared)
        fullest = self.whole(20)
        for h in self.problem.hosts:
            used = h.memory_total_bytes - h.memory_bytes
            for m in self.problem.members:
                others = [(-o.memory_bytes, self.on[o.name, h.name]) for o in self.problem.members if o != m]
                # where m stands: fullest >= used + everyone there
                self.row(
                    [(1, fullest), (-(m.memory_bytes + used + 40), self.on[m.name, h.name]), *others], -40, 99
                )
        found = self.least([(1, fullest)])
        assert found is not None
        return found


@pytest.mark.parametrize("draw", range(QUESTIONS))
def test_highs_agrees(draw: int) -> None:
    problem = random_question(draw)
    rows = Rows(problem)
    shared = rows.least(rows.costs)
    outcome = solve(problem)
    if shared is None:
        assert isinstance(outcome, NoneExists)
        return
    assert isinstance(outcome, BestShown)
    levels = dict(outcome.placement.levels)
    assert levels["shared fate"] == shared
    assert levels["host fill"] == 50 * rows.least_fill(shared)


def test_the_questions_are_of_both_kinds() -> None:
    answers = [Rows(random_question(draw)).least([]) is None for draw in range(QUESTIONS)]
    assert 5 <= sum(answers) <= QUESTIONS - 20
