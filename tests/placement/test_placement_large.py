"""Large estates, on which the emptiest hosts are looked at first: the best all the same, and bounds that hold.

The best is found in another way: of hosts alike in size, with members kept apart by host, the largest member stands
on the emptiest host, the next on the next (an exchange of any two makes the fuller one no emptier).
"""

from dataclasses import replace
from random import Random

import pytest
from hypothesis import given, settings

from staddle.placement.cost import LEVELS, level_values
from staddle.placement.data import Tables
from staddle.placement.model import Apart, BestShown, ClusterRules, HostRoom, MemberNeed, Problem
from staddle.placement.slots import least_host_fill, least_pool_fill
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import every_valid
from tests.placement.test_placement_brute_force import questions

MOST_PAIRS_ON_THE_PLAIN_PATH = 8000


def room(name: str, used: int, networks: tuple[str, ...] = ("n",), rack: str = "") -> HostRoom:
    """A host of 100 units with room for many vCPUs."""
    return HostRoom(
        name=name,
        memory_bytes=100 - used,
        vcpus=50,
        memory_total_bytes=100,
        networks=networks,
        pools=(),
        domains=(("rack", rack),) if rack else (),
    )


def need(name: str, size: int, **changes: object) -> MemberNeed:
    return replace(MemberNeed(name=name, memory_bytes=size, vcpus=1, networks=("n",)), **changes)  # type: ignore[arg-type]  # fields of the value


def told_of(problem: Problem) -> tuple[BestShown, list[str]]:
    said: list[str] = []
    outcome = solve(problem, progress=said.append)
    assert isinstance(outcome, BestShown)
    assert not broken_rules(problem, outcome.placement.seats)
    return outcome, said


def looked_at_the_emptiest(said: list[str]) -> bool:
    return any("emptiest hosts" in line for line in said)


@pytest.mark.parametrize("draw", range(3))
@pytest.mark.parametrize(("hosts", "large"), [(399, False), (402, True)])
def test_the_same_best_on_both_sides_of_the_threshold(draw: int, hosts: int, *, large: bool) -> None:
    chance = Random(1000 * hosts + draw)
    used = [chance.randrange(20, 90) for _ in range(hosts)]
    sizes = sorted((chance.choice((3, 5, 9)) for _ in range(20)), reverse=True)
    best = max(a + b for a, b in zip(sorted(used), sizes, strict=False))
    problem = Problem(
        members=tuple(need(f"m{n:02}", size) for n, size in enumerate(sizes)),
        hosts=tuple(room(f"h{n:03}", own) for n, own in enumerate(used)),
        clusters=(ClusterRules(apart=(Apart(kind="host"),)),),
    )
    outcome, said = told_of(problem)
    assert dict(outcome.placement.levels)["shared fate"] == 0
    assert dict(outcome.placement.levels)["host fill"] == 10 * best
    assert looked_at_the_emptiest(said) == large == (20 * hosts > MOST_PAIRS_ON_THE_PLAIN_PATH)


def test_what_is_best_among_the_emptiest_is_not_called_best_of_all() -> None:
    # 20 members need hosts with network n: 10 stand at 20, 10 at 22 and 10 at 29. Those at 22 do not have the network of
    # the small member, for which those at 29 are empty enough to be looked at first. Best is 22 + 10, not 29 + 10.
    hosts = [room(f"a{n}", 20, ("n", "c")) for n in range(10)]
    hosts += [room(f"b{n}", 22) for n in range(10)]
    hosts += [room(f"c{n}", 29, ("n", "c")) for n in range(10)]
    hosts += [room(f"d{n:03}", 0, ("c",)) for n in range(371)]
    members = [need(f"m{n}", 10) for n in range(10)] + [need(f"w{n}", 10, vcpus=2) for n in range(10)]
    members.append(need("small", 1, networks=("c",)))
    problem = Problem(
        members=tuple(members),
        hosts=tuple(hosts),
        clusters=(ClusterRules(apart=(Apart(kind="host"),)),),
    )
    outcome, said = told_of(problem)
    assert looked_at_the_emptiest(said)
    assert dict(outcome.placement.levels)["host fill"] == 320


def test_racks_of_a_large_estate_hold_one_member_each() -> None:
    chance = Random(26)
    used = {f"h{n:03}": chance.randrange(20, 95) for n in range(420)}
    rack = {name: f"r{position // 10:02}" for position, name in enumerate(used)}
    emptiest = sorted(min(used[n] for n in used if rack[n] == r) for r in set(rack.values()))
    problem = Problem(
        members=tuple(need(f"m{n:02}", 5) for n in range(20)),
        hosts=tuple(room(name, own, rack=rack[name]) for name, own in used.items()),
        clusters=(ClusterRules(apart=(Apart(kind="rack"),)),),
    )
    outcome, said = told_of(problem)
    assert looked_at_the_emptiest(said)
    assert len({rack[seat.host] for seat in outcome.placement.seats}) == 20
    # One member a rack: on the emptiest host of each of the 20 racks where that one is emptiest.
    assert dict(outcome.placement.levels)["host fill"] == 10 * (emptiest[19] + 5)


@settings(max_examples=40, deadline=None)
@given(problem=questions())
def test_no_placement_is_below_the_bounds_of_the_slots(problem: Problem) -> None:
    check_bounds(problem)


def check_bounds(problem: Problem) -> None:
    tables = Tables(problem)
    active = frozenset(group.name for group in tables.groups)
    host_fill, pool_fill = LEVELS.index("host fill"), LEVELS.index("pool fill")
    hosts, pools = least_host_fill(tables, active), least_pool_fill(tables)
    for seats in every_valid(problem):
        values = level_values(tables, seats)
        assert hosts <= values[host_fill]
        assert pools <= values[pool_fill]


@settings(max_examples=25, deadline=None)
@given(problem=questions())
def test_the_bounds_hold_where_needs_are_less_than_a_unit_of_counting(problem: Problem) -> None:
    # From 2^24 bytes on fill is counted in larger units: members and disks of 1 to 6 bytes then take none at all.
    more = 1 << 26
    hosts = tuple(replace(h, memory_total_bytes=h.memory_total_bytes + more) for h in problem.hosts)
    pools = tuple(replace(p, capacity_bytes=p.capacity_bytes + more) for p in problem.pools)
    check_bounds(replace(problem, hosts=hosts, pools=pools))
