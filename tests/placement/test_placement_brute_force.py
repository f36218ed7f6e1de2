"""The solver against trying everything, on small questions of many shapes."""

from dataclasses import replace
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.placement.cost import level_values
from staddle.placement.data import Tables
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
    Seat,
)
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import every_valid

MOST_COMBINATIONS = 1500


@st.composite
def questions(draw: st.DrawFn) -> Problem:
    """At most 4 members, 5 hosts and 3 pools, so many disks that everything can be tried."""
    members, hosts, pools = draw(st.integers(1, 4)), draw(st.integers(1, 5)), draw(st.integers(1, 3))
    room = MOST_COMBINATIONS // hosts**members
    disks = [0] * members
    for i in range(members):
        for _ in range(draw(st.integers(0, 2))):
            if pools <= room:
                room, disks[i] = room // pools, disks[i] + 1
    host_names = [f"h{n}" for n in range(hosts)]
    pool_names = [f"p{n}" for n in range(pools)]
    sites = st.sampled_from(["east", "west"])
    racks = st.sampled_from(["r1", "r2", "r3"])
    need = st.integers(1, 6)
    some_networks = st.lists(st.sampled_from(["mgmt", "data"]), unique=True).map(tuple)
    leads = draw(st.permutations(["first", "second", "never", "never"]))
    settled_hosts = st.sampled_from([*host_names, "gone"])
    problem = Problem(
        members=tuple(
            MemberNeed(
                name=f"m{i}",
                memory_bytes=draw(need),
                vcpus=draw(st.integers(1, 3)),
                disks=tuple(
                    DiskNeed(disk_id=f"d{k}", promised_bytes=draw(need), written_bytes=draw(need))
                    for k in range(disks[i])
                ),
                networks=draw(st.sampled_from([(), (), ("mgmt",), ("mgmt", "data")])),
                keep_out=draw(st.sampled_from([(), (), (), ("h0",), ("p0",)])),
                votes=draw(st.booleans()),
                leads=leads[i],
                data=draw(st.booleans()),
            )
            for i in range(members)
        ),
        hosts=tuple(
            HostRoom(
                name=name,
                memory_bytes=draw(st.integers(2, 12)),
                vcpus=draw(st.integers(2, 8)),
                memory_total_bytes=draw(st.integers(12, 20)),
                networks=("mgmt", "data") if draw(st.booleans()) else draw(some_networks),
                pools=tuple(draw(st.lists(st.sampled_from(pool_names), unique=True, min_size=1))),
                domains=(("rack", draw(racks)), ("site", draw(sites))),
                cpu_level=draw(st.sampled_from(["a", "a", "b"])),
                node_memory_bytes=draw(st.sampled_from([0, 4])),
            )
            for name in host_names
        ),
        pools=tuple(
            PoolRoom(
                name=name,
                free_bytes=draw(st.integers(3, 14)),
                promise_bytes=draw(st.integers(3, 14)),
                capacity_bytes=20,
                domains=(("rack", draw(racks)),) if draw(st.booleans()) else (("array", "a1"),),
            )
            for name in pool_names
        ),
        clusters=(
            ClusterRules(
                apart=tuple(
                    Apart(kind=kind, most=draw(st.sampled_from([1, 1, 1, 2])))
                    for kind in draw(st.sampled_from([(), ("host",), ("host",), ("host", "rack"), ("pool",)]))
                ),
                deputy_apart=draw(st.sampled_from([(), (), ("host",), ("rack",)])),
                majority_kinds=draw(st.sampled_from([(), (), (), ("host",), ("rack",)])),
                one_cpu_level=draw(st.booleans()),
                allowed_pools=draw(st.sampled_from([(), (), ("p0",)])),
                together=draw(st.sampled_from([(), (), (), ("site",), ("rack",)])),
                too_far=draw(st.sampled_from([(), (), (("east", "west"),)])),
            ),
        ),
    )
    if not draw(st.booleans()):
        return problem
    settled = tuple(
        Seat(
            member=m.name,
            host=draw(settled_hosts),
            disks=tuple((d.disk_id, draw(st.sampled_from(pool_names))) for d in m.disks),
        )
        for m in problem.members
    )
    return replace(problem, settled=settled)


def pairs_sharing(problem: Problem, seats: tuple[Seat, ...]) -> int:
    """The first level in another way: pair by pair. Weights as documented: host 4, pool 2, any other kind 1."""
    rooms = {("host", h.name): h.domains for h in problem.hosts} | {
        ("pool", p.name): p.domains for p in problem.pools
    }
    sites: dict[tuple[str, str], set[str]] = {}
    for own, above in rooms.items():
        for key in {own, *above}:
            sites.setdefault(key, set()).update(name for kind, name in above if kind == "site")
    total = 0
    for one, other in combinations(seats, 2):
        shared = set.intersection(
            *(
                {
                    key
                    for own in (("host", s.host), *(("pool", p) for _, p in s.disks))
                    for key in (own, *rooms[own])
                }
                for s in (one, other)
            )
        )
        total += sum(
            {"host": 4, "pool": 2}.get(kind, 1)
            for kind, name in shared
            if kind != "site" and len(sites[kind, name]) <= 1
        )
    return total


@settings(max_examples=60, deadline=None)
@given(problem=questions())
def test_answer_is_the_best_of_all_valid_placements(problem: Problem) -> None:
    valid = every_valid(problem)
    outcome = solve(problem)
    if not valid:
        assert isinstance(outcome, NoneExists)
        assert outcome.conflict
        return
    assert isinstance(outcome, BestShown)
    seats = outcome.placement.seats
    assert not broken_rules(problem, seats)
    assert pairs_sharing(problem, seats) == min(pairs_sharing(problem, other) for other in valid)
    tables = Tables(problem)
    assert level_values(tables, seats) == min(level_values(tables, other) for other in valid)
    assert tuple(value for _, value in outcome.placement.levels) == level_values(tables, seats)


@settings(max_examples=60, deadline=None)
@given(problem=questions())
def test_first_level_counts_pairs_of_members(problem: Problem) -> None:
    tables = Tables(problem)
    for seats in every_valid(problem)[:50]:
        assert level_values(tables, seats)[0] == pairs_sharing(problem, seats)
