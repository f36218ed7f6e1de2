"""What is to be set on the platform keeps the placement: the independent check sees no rule broken however it balances."""

from collections import Counter
from dataclasses import replace
from itertools import product

import pytest

from staddle.failures.running import Running
from staddle.placement.keeping import KeepApart, Keeping, apart_in_words, keeping_of, lines_of
from staddle.placement.model import Apart, BestShown, Problem, Reserve, Seat
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import GIB, cluster, host, ousemoor, pool

EVERY_POOL = tuple(f"pool-om-r{n}" for n in range(1, 4))


def problem_with(**rules: object) -> Problem:
    """Two hosts in each of three racks, every pool reached from everywhere, one CPU level or none asked for."""
    problem = ousemoor(clusters=(cluster(**{"one_cpu_level": False, "majority_kinds": ()} | rules),))
    return replace(problem, hosts=tuple(replace(h, pools=EVERY_POOL) for h in problem.hosts))


def seats_of(problem: Problem) -> tuple[Seat, ...]:
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    return outcome.placement.seats


def balanced(problem: Problem, seats: tuple[Seat, ...], keeping: Keeping) -> list[tuple[Seat, ...]]:
    """Every way in which a platform may move the machines when all of it is set: no other rule of ours is looked at."""
    everywhere = tuple(h.name for h in problem.hosts)
    found = []
    for hosts in product(*(row.hosts or everywhere for row in keeping.members)):
        on = dict(zip((row.member for row in keeping.members), hosts, strict=True))
        if all(max(Counter(on[m] for m in row.members).values()) <= row.most for row in keeping.apart):
            found.append(tuple(replace(seat, host=on[seat.member]) for seat in seats))
    return found


@pytest.mark.parametrize(
    "rules",
    [
        {"apart": ("host", "rack")},
        {"apart": ("host",)},
        {"apart": (Apart(kind="host", most=2),), "deputy_apart": ("host",)},
        {"apart": ("host", Apart(kind="rack", most=2)), "deputy_apart": ("rack",)},
        {"apart": (), "majority_kinds": ("host",)},
        {"apart": (), "majority_kinds": ("rack",), "deputy_apart": ("host",)},
        {"apart": ("host",), "together": ("site",)},
    ],
    ids=str,
)
def test_balancing_breaks_no_rule_once_it_is_set(rules: dict[str, object]) -> None:
    problem = problem_with(**rules)
    seats = seats_of(problem)
    ways = balanced(problem, seats, keeping_of(problem, seats))
    assert len(ways) > 1  # it may still balance
    assert [broken_rules(problem, way) for way in ways if broken_rules(problem, way)] == []


def test_balancing_does_break_a_rule_when_nothing_is_set() -> None:
    problem = problem_with(apart=("host", "rack"))
    seats = seats_of(problem)
    unset = replace(
        keeping_of(problem, seats),
        apart=(),
        members=tuple(replace(row, hosts=()) for row in keeping_of(problem, seats).members),
    )
    assert any(broken_rules(problem, way) for way in balanced(problem, seats, unset))


def test_a_host_that_cannot_hold_the_member_is_not_named_and_a_full_one_is() -> None:
    problem = problem_with(apart=("host", "rack"))
    seats = seats_of(problem)
    taken = {seat.host for seat in seats}
    others = [h.name for h in problem.hosts if h.name not in taken]
    full, bare = others[0], others[1]
    changed = {full: {"memory_bytes": GIB}, bare: {"networks": ("mgmt",)}}
    hosts = tuple(replace(h, **changed.get(h.name, {})) for h in problem.hosts)  # type: ignore[arg-type]  # fields
    named = {h for row in keeping_of(replace(problem, hosts=hosts), seats).members for h in row.hosts}
    assert full in named
    assert bare not in named


def test_a_host_without_the_pool_of_a_disk_is_not_named() -> None:
    problem = ousemoor()  # each host reaches the pool of its rack alone
    row = keeping_of(problem, seats_of(problem)).members[0]
    reaching = {h.name for h in problem.hosts if dict(row.disks)["data"] in h.pools}
    assert set(row.hosts) == reaching


def test_a_pin_and_a_keep_out_are_kept() -> None:
    problem = problem_with(apart=("host",))
    first, second, third = problem.members
    members = (replace(first, pinned_to="om-h1"), replace(second, keep_out=("om-r1",)), third)
    asked = replace(problem, members=members)
    rows = keeping_of(asked, seats_of(asked)).members
    assert rows[0].hosts == ("om-h1",)
    assert rows[1].hosts == ("om-h3", "om-h4", "om-h5", "om-h6")
    assert rows[2].hosts == ()


def test_members_restart_after_what_has_a_lower_order_at_their_site() -> None:
    far = replace(host("tg-h1", "tg-r1"), domains=(("site", "tollgate"),), pools=())
    machines = tuple(
        Running(name=name, host=where, memory_bytes=GIB, vcpus=1, restart_order=order)
        for name, where, order in (
            ("names", "om-h1", 20),
            ("time", "om-h2", 10),
            ("office", "om-h3", 100),
            ("time-far", "tg-h1", 10),
        )
    )
    problem = problem_with()
    seats = seats_of(problem)
    problem = replace(problem, hosts=(*problem.hosts, far), reserve=Reserve(survive=(), machines=machines))
    row = keeping_of(problem, seats).members[0]
    assert (row.starts_after, row.starts_before) == (("time", "names"), 1)


def test_apart_after_a_failure_is_said_only_where_it_is_asked_for() -> None:
    problem = problem_with(apart=("host",))
    seats = seats_of(problem)
    names = ("sl1", "sl2", "sl3")
    (row,) = keeping_of(problem, seats).apart
    assert row == KeepApart(cluster="", members=names, most=1, after_a_failure=False)
    assert apart_in_words(row) == "sl1, sl2, sl3: no two on one host, except while a host is down"
    (row,) = keeping_of(replace(problem, reserve=Reserve(survive=(), apart_after=("",))), seats).apart
    assert apart_in_words(row) == "sl1, sl2, sl3: no two on one host, also while a host is down"
    assert apart_in_words(replace(row, most=2)) == (
        "at most 2 of sl1, sl2, sl3 on one host, also while a host is down"
    )


def test_the_lines_of_a_member() -> None:
    problem = problem_with(apart=("host", "rack"))
    seats = (
        Seat(member="sl1", host="om-h1", disks=(("data", "pool-om-r1"),)),
        Seat(member="sl2", host="om-h3", disks=(("data", "pool-om-r2"),)),
        Seat(member="sl3", host="om-h5", disks=(("data", "pool-om-r3"),)),
    )
    assert lines_of(keeping_of(problem, seats), "sl2") == (
        ("Keep apart", "sl1, sl2, sl3: no two on one host, except while a host is down"),
        ("Run on", "om-h3, om-h4 (rack om-r2); another one only while none of these can"),
        ("Disks stay in", "pool-om-r2: nothing moves them by itself"),
        ("Reserve memory", "16 GiB, all of it; none taken back while it runs, none swapped by the host"),
        ("Restart", "by itself, in order 50"),
    )


def test_clusters_placed_together_are_kept_apart_each_by_itself() -> None:
    problem = problem_with(apart=("host",))
    first = tuple(replace(m, name=f"a-{m.name}", cluster="a") for m in problem.members)
    second = tuple(replace(m, name=f"b-{m.name}", cluster="b") for m in problem.members)
    both = replace(
        problem,
        members=(*first, *second),
        clusters=tuple(replace(problem.clusters[0], name=name) for name in ("a", "b")),
        pools=tuple(pool(name) for name in EVERY_POOL),
    )
    assert [(row.cluster, row.members) for row in keeping_of(both, seats_of(both)).apart] == [
        ("a", ("a-sl1", "a-sl2", "a-sl3")),
        ("b", ("b-sl1", "b-sl2", "b-sl3")),
    ]
