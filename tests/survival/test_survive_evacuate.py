"""Emptying hosts against brute force and the independent checker."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.failures.scenario import Scenario
from staddle.survival.evacuate import evacuate
from staddle.survival.judge import ALL
from tests.failures.restart_checker import broken, brute_restart
from tests.failures.small_estates import Small, small_estates
from tests.failures.test_restart import machine, stand


def alone(name: str, pools: tuple[str, ...] = ()) -> Scenario:
    return Scenario(name=f"host {name}", hosts=(name,), pools=pools, domains=(("host", name),))


@settings(max_examples=80, deadline=None)
@given(small_estates(fill=(40, 85, 95)))
def test_hosts_may_be_emptied_exactly_when_brute_force_says_so(case: Small) -> None:
    scenarios = [alone(one.name) for one in case.stands]
    found = evacuate(case.machines, case.stands, case.hosts, next_failures=scenarios)
    exists = brute_restart(case.machines, case.stands, case.hosts, ())
    assert (found.may == ALL) == (exists is not None)
    if found.may != ALL:
        assert found.staying
        assert found.reason
        return
    seats = {move.machine: move.to_host for move in found.moves}
    assert len(seats) == len(found.moves) == sum(m.host in case.hosts for m in case.machines)
    assert broken(case.machines, case.stands, case.hosts, (), seats) == []
    choices = [(move.choices, -move.memory_bytes) for move in found.moves]
    assert choices == sorted(choices)
    # The next failure, with the emptied hosts gone and everything where it was moved.
    machines = [replace(m, host=seats.get(m.name, m.host)) for m in case.machines]
    stands = [one for one in case.stands if one.name not in case.hosts]
    bad = set()
    for one in stands:
        # What only this host reaches is lost with it, and need not restart.
        only = [p for p in one.pools if sum(p in other.pools for other in stands) == 1]
        if brute_restart(machines, stands, (one.name,), only) is None:
            bad.add(f"host {one.name}")
    assert {one.scenario.name for one in found.next_failures} == bad
    assert found.judged == len(stands)


def test_what_has_its_disk_inside_the_host_cannot_leave() -> None:
    hosts = [stand("a", 8, pools=("inside-a", "shared")), stand("b", 8, pools=("shared",))]
    machines = [machine("stays", "a", 2, pools=("inside-a",)), machine("goes", "a", 2, pools=("shared",))]
    found = evacuate(machines, hosts, ["a"])
    assert (found.may, found.staying) == ("not all restart", ("stays",))
    assert found.reason == "stays: no host that is left may take it (it needs inside-a)"


def test_live_only_between_hosts_of_one_known_level() -> None:
    hosts = [
        stand("a", 9, cpu_level="v3"),
        stand("b", 4, cpu_level="v3"),
        stand("c", 5, cpu_level="v2"),
    ]
    machines = [machine("large", "a", 5), machine("small", "a", 4)]
    found = evacuate(machines, hosts, ["a"])
    assert [(m.machine, m.to_host, m.how) for m in found.moves] == [
        ("large", "c", "restart"),
        ("small", "b", "live"),
    ]
    assert [(row.host, row.memory_bytes) for row in found.left] == [("b", 0), ("c", 0)]


def test_a_pool_inside_an_emptied_host_fails_nothing_more() -> None:
    hosts = [stand("a", 8, pools=("inside-a",)), stand("b", 8), stand("c", 8)]
    found = evacuate([machine("m", "a", 2)], hosts, ["a"], next_failures=[alone("a"), alone("b"), alone("c")])
    assert (found.may, found.judged, found.next_failures) == (ALL, 2, ())


@settings(max_examples=30, deadline=None)
@given(small_estates(), st.integers(0, 9))
def test_the_same_question_gets_the_same_answer(case: Small, number: int) -> None:
    hosts = [case.stands[number % len(case.stands)].name]
    assert evacuate(case.machines, case.stands, hosts) == evacuate(case.machines, case.stands, hosts)
