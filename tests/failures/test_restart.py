"""The restart test against brute force, an independent checker, and what must hold of any such test."""

import pickle
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from staddle.failures.outcome import CannotRestart, Restarted, RestartOutcome, RestartUndecided
from staddle.failures.restart import RestartTest
from staddle.failures.running import Running, Stand, core_thousandths
from staddle.kernel import InputRefused
from tests.failures.restart_checker import broken, brute_restart, must_restart
from tests.failures.small_estates import GIB, Small, small_estates


def ask(case: Small, **more: object) -> RestartOutcome:
    return RestartTest(case.machines, case.stands).restart(case.hosts, case.pools, **more)  # type: ignore[arg-type]


def check_against_brute_force(case: Small) -> None:
    found = ask(case)
    exists = brute_restart(case.machines, case.stands, case.hosts, case.pools)
    displaced = {m.name for m in must_restart(case.machines, case.hosts, case.pools)}
    # Nothing this small may stay undecided.
    assert not isinstance(found, RestartUndecided)
    assert isinstance(found, Restarted) == (exists is not None), found
    assert broken(case.machines, case.stands, case.hosts, case.pools, dict(found.seats)) == []
    left = set(found.machines) if isinstance(found, CannotRestart) else set()
    assert {name for name, _ in found.seats} | left == displaced
    assert len(found.seats) + len(left) == len(displaced)
    if isinstance(found, CannotRestart):
        assert left
        assert found.reason


@settings(max_examples=150, deadline=None)
@given(small_estates())
def test_it_says_what_brute_force_says(case: Small) -> None:
    check_against_brute_force(case)


@settings(max_examples=60, deadline=None)
@given(small_estates(hosts=(4, 6), machines_a_host=4, fill=(95, 98), rules=False))
def test_it_says_what_brute_force_says_of_nearly_full_hosts(case: Small) -> None:
    assume(len(must_restart(case.machines, case.hosts, case.pools)) <= 6)
    check_against_brute_force(case)


@settings(max_examples=40, deadline=None)
@given(small_estates(hosts=(20, 20), machines_a_host=2, fill=(95, 98)))
def test_it_says_what_brute_force_says_of_twenty_hosts(case: Small) -> None:
    check_against_brute_force(case)


@settings(max_examples=80, deadline=None)
@given(small_estates(), st.integers(0, 20), st.integers(1, 9))
def test_one_machine_more_never_turns_cannot_into_can(case: Small, number: int, gib: int) -> None:
    assume(case.machines)
    found = ask(case)
    like = case.machines[number % len(case.machines)]
    one_more = replace(like, name="one-more", memory_bytes=gib * GIB)
    after = ask(case, extra=(one_more,))
    if isinstance(found, CannotRestart):
        assert isinstance(after, CannotRestart)


@settings(max_examples=60, deadline=None)
@given(small_estates(), st.integers(0, 20), st.integers(0, 20))
def test_machines_left_out_and_added_are_as_if_they_had_been_so(case: Small, out: int, to: int) -> None:
    assume(case.machines)
    leaving = case.machines[out % len(case.machines)]
    moved = replace(leaving, name="moved", host=case.stands[to % len(case.stands)].name)
    machines = (*(m for m in case.machines if m is not leaving), moved)
    test = RestartTest(case.machines, case.stands)
    asked = test.restart(case.hosts, case.pools, without=[leaving.name], extra=(moved,))
    assert asked == RestartTest(machines, case.stands).restart(case.hosts, case.pools)
    assert test.restart(case.hosts, case.pools) == ask(case)  # and nothing was changed by asking


@settings(max_examples=40, deadline=None)
@given(small_estates())
def test_asked_again_or_elsewhere_it_says_the_same(case: Small) -> None:
    test = RestartTest(case.machines, case.stands)
    elsewhere = pickle.loads(pickle.dumps(test))
    assert test.restart(case.hosts, case.pools) == elsewhere.restart(case.hosts, case.pools)


@settings(max_examples=60, deadline=None)
@given(small_estates())
def test_lost_is_every_machine_with_a_disk_in_a_failed_pool(case: Small) -> None:
    lost = RestartTest(case.machines, case.stands).lost(case.hosts, case.pools)
    assert lost == tuple(m.name for m in case.machines if set(m.pools) & set(case.pools))


def stand(name: str, gib: int, **more: object) -> Stand:
    return replace(Stand(name=name, memory_bytes=gib * GIB, cores=16, vcpu_per_core=4.0), **more)  # type: ignore[arg-type]


def machine(name: str, host: str, gib: int, **more: object) -> Running:
    return replace(Running(name=name, host=host, memory_bytes=gib * GIB, vcpus=2), **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("vcpus", "rate", "thousandths"),
    # By hand: 8 vCPUs at one to one are 8 cores; 3 at four to one 0.75; 1 at three to one 333.3 thousandths, rounded up.
    [(8, 1.0, 8000), (3, 4.0, 750), (1, 3.0, 334), (2, 0.1, 20000), (0, 4.0, 0)],
)
def test_what_a_vcpu_takes_of_a_core(vcpus: int, rate: float, thousandths: int) -> None:
    assert core_thousandths(vcpus, rate) == thousandths


def test_where_not_all_fit_the_lowest_priority_is_left() -> None:
    machines = [
        machine("late", "a", 8, restart_order=200),
        machine("first", "a", 8, restart_order=1),
        machine("then", "a", 8, restart_order=50),
    ]
    found = RestartTest(machines, [stand("a", 24), stand("b", 16)]).restart(["a"])
    assert isinstance(found, CannotRestart)
    assert found.machines == ("late",)
    assert found.seats == (("first", "b"), ("then", "b"))
    assert found.reason == "3 to restart on hosts with nothing special, need 24 GiB; 1 hosts have 16 GiB left"


def test_a_machine_that_lost_its_disk_still_holds_its_memory() -> None:
    machines = [machine("hangs", "b", 8, pools=("p",)), machine("moves", "a", 8)]
    found = RestartTest(machines, [stand("a", 8), stand("b", 8, pools=("p",))]).restart(["a"], ["p"])
    assert isinstance(found, CannotRestart)


def test_a_displaced_group_stays_together_and_joins_those_that_stand() -> None:
    hosts = [stand("a", 16), stand("b", 6), stand("c", 8)]
    pair = [machine("one", "a", 4, together="pair"), machine("two", "a", 4, together="pair")]
    found = RestartTest(pair, hosts).restart(["a"])
    assert found == Restarted(seats=(("one", "c"), ("two", "c")))
    standing = [pair[0], replace(pair[1], host="b", memory_bytes=3 * GIB)]
    assert isinstance(RestartTest(standing, hosts).restart(["a"]), CannotRestart)  # 4 of the 3 GiB left on b


def test_a_group_that_stands_on_two_hosts_is_named_as_the_reason() -> None:
    machines = [machine(f"m{n}", host, 1, together="torn") for n, host in enumerate("abc")]
    found = RestartTest(machines, [stand(h, 9) for h in "abc"]).restart(["a"])
    assert isinstance(found, CannotRestart)
    assert found.reason == "m0: the machines it must stand together with stand on several hosts"


def test_what_is_wrong_is_refused() -> None:
    hosts = [stand("a", 8)]
    with pytest.raises(InputRefused, match='two machines are named "m"'):
        RestartTest([machine("m", "a", 1)] * 2, hosts)
    with pytest.raises(InputRefused, match='stands on "x", which is no host'):
        RestartTest([machine("m", "x", 1)], hosts)
    test = RestartTest([machine("m", "a", 1)], hosts)
    with pytest.raises(InputRefused, match='"x" shall fail'):
        test.restart(["x"])
    with pytest.raises(InputRefused, match='"x" shall be left out'):
        test.restart(["a"], without=["x"])
    with pytest.raises(InputRefused, match='two machines are named "m"'):
        test.restart(["a"], extra=[machine("m", "a", 1)])
