"""Hosts that are left out of a search because others are better: nothing is lost by it, against trying everything."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.failures.running import Stand
from staddle.placement.cells import candidates
from staddle.placement.cost import level_values
from staddle.placement.data import Tables
from staddle.placement.learnt import NOTHING_LEARNT
from staddle.placement.model import (
    Apart,
    BestShown,
    ClusterRules,
    DiskNeed,
    HostRoom,
    MemberNeed,
    PoolRoom,
    Problem,
    Reserve,
    Seat,
    Survive,
)
from staddle.placement.solve import solve
from tests.placement.questions import every_valid
from tests.placement.test_placement_reserve_brute import any_host, outlives, scenario_of


def stands(hosts: tuple[HostRoom, ...]) -> tuple[Stand, ...]:
    """As the hosts, with so much room that whatever is displaced restarts: only what is left of a cluster matters."""
    return tuple(
        Stand(name=h.name, memory_bytes=10_000, cores=1000, vcpu_per_core=1.0, pools=h.pools) for h in hosts
    )


@st.composite
def alike(draw: st.DrawFn) -> Problem:
    """Hosts in two racks of which many differ in room only; failures by name, members that keep out of hosts, pools in hosts."""
    count = draw(st.integers(3, 7))
    # All reach the shared pool; a pool of a host is reached by both hosts of the pair that it is for.
    local = draw(st.sampled_from(["", "", "h0", "h1"]))
    hosts = tuple(
        HostRoom(
            name=f"h{n}",
            memory_bytes=draw(st.integers(2, 9)),
            vcpus=draw(st.sampled_from([3, 8])),
            memory_total_bytes=20,
            networks=(),
            pools=("shared", "local") if local else ("shared",),
            domains=(("rack", f"r{0 if n < (count + 1) // 2 else 1}"),),
            vcpu_per_core=1.0,
        )
        for n in range(count)
    )
    pools: tuple[PoolRoom, ...] = (
        PoolRoom(name="shared", free_bytes=draw(st.integers(1, 4)), promise_bytes=9, capacity_bytes=10),
    )
    if local:
        pools += (
            PoolRoom(
                name="local", free_bytes=9, promise_bytes=9, capacity_bytes=10, domains=(("host", local),)
            ),
        )
    names = [h.name for h in hosts]
    members = tuple(
        MemberNeed(
            name=f"m{n}",
            memory_bytes=2,
            vcpus=2,
            disks=(DiskNeed(disk_id="d", promised_bytes=1, written_bytes=1),),
            keep_out=tuple(draw(st.lists(st.sampled_from(names), max_size=2, unique=True))),
            data=draw(st.sampled_from([True, True, False])),
        )
        for n in range(draw(st.integers(1, 3)))
    )
    data = sum(m.data for m in members)
    asked: list[Survive] = []
    for number in range(draw(st.integers(0, 2))):
        failing = draw(st.lists(st.sampled_from(names), min_size=1, max_size=3, unique=True))
        asked.append(
            Survive(
                sentence=f"named {number}",
                scenarios=(scenario_of(failing),),
                least_data=draw(st.integers(0, data)),
                others_restart=False,
            )
        )
    if draw(st.booleans()):
        asked.append(any_host(hosts, least_data=max(0, data - 1), others_restart=False))
    return Problem(
        members=members,
        hosts=hosts,
        pools=pools,
        clusters=(
            ClusterRules(apart=draw(st.sampled_from([(), (Apart(kind="host"),), (Apart(kind="rack"),)]))),
        ),
        reserve=Reserve(survive=tuple(asked), stands=stands(hosts)),
    )


@settings(max_examples=120, deadline=None)
@given(problem=alike())
def test_of_the_hosts_worth_looking_at_one_placement_is_as_good_as_the_best(problem: Problem) -> None:
    tables = Tables(problem)
    active = frozenset(row.name for row in tables.groups)
    kept = {problem.hosts[h].name for h in candidates(tables, active, NOTHING_LEARNT)}
    good = [s for s in every_valid(replace(problem, reserve=None)) if outlives(problem, s)]
    left = [s for s in good if {seat.host for seat in s} <= kept]

    def best(rows: list[tuple[Seat, ...]]) -> tuple[int, ...] | None:
        return min((level_values(tables, row)[:-1] for row in rows), default=None)  # all but the table order

    assert best(left) == best(good)


def test_some_hosts_are_left_out() -> None:
    # Of ten hosts alike in a rack that holds one member the emptiest is enough.
    hosts = tuple(
        HostRoom(
            name=f"h{n}",
            memory_bytes=10 + n,
            vcpus=9,
            memory_total_bytes=30,
            networks=(),
            pools=(),
            domains=(("rack", f"r{n // 10}"),),
        )
        for n in range(20)
    )
    problem = Problem(
        members=tuple(MemberNeed(name=f"m{n}", memory_bytes=1, vcpus=1) for n in range(2)),
        hosts=hosts,
        clusters=(ClusterRules(apart=(Apart(kind="rack"),)),),
        reserve=Reserve(survive=(any_host(hosts, least_data=1),), stands=stands(hosts)),
    )
    tables = Tables(problem)
    assert candidates(tables, frozenset(row.name for row in tables.groups), NOTHING_LEARNT) == [9, 19]


def large(keep_out: tuple[str, ...] = ()) -> Problem:
    """Two members apart by rack on 2,002 hosts in two racks, the emptiest of each rack first: more pairs than are all looked at."""
    hosts = tuple(
        HostRoom(
            name=f"h{n}",
            memory_bytes=90 if n < 2 else 50,
            vcpus=9,
            memory_total_bytes=100,
            networks=(),
            pools=(),
            domains=(("rack", f"r{n % 2}"),),
        )
        for n in range(2002)
    )
    return Problem(
        members=tuple(MemberNeed(name=f"m{n}", memory_bytes=1, vcpus=1, keep_out=keep_out) for n in range(2)),
        hosts=hosts,
        clusters=(ClusterRules(apart=(Apart(kind="rack"),)),),
    )


def test_a_host_named_in_a_failure_does_not_stand_for_those_that_are_not() -> None:
    problem = large()
    asked = Survive(
        sentence="named: h0",
        scenarios=(scenario_of(("h0",)), scenario_of(("h1",))),
        least_data=2,
        others_restart=False,
    )
    outcome = solve(replace(problem, reserve=Reserve(survive=(asked,), stands=stands(problem.hosts))))
    assert isinstance(outcome, BestShown)
    assert {seat.host for seat in outcome.placement.seats} == {"h2", "h3"}


def test_a_host_that_a_member_keeps_out_of_does_not_stand_for_others() -> None:
    outcome = solve(large(keep_out=("h0", "h1")))
    assert isinstance(outcome, BestShown)
    assert {seat.host for seat in outcome.placement.seats} == {"h2", "h3"}
