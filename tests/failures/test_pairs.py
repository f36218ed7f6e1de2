"""The table of pairs against the restart test asked of every pair, and against brute force."""

import multiprocessing
from concurrent.futures import ProcessPoolExecutor
from itertools import combinations

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from staddle.failures.outcome import CannotRestart, Restarted, RestartUndecided
from staddle.failures.pairs import decide_alone, decide_pairs
from staddle.failures.restart import RestartTest
from staddle.failures.scenario import Scenario
from staddle.failures.ways import Verdict
from tests.failures.restart_checker import brute_restart
from tests.failures.small_estates import Small, small_estates
from tests.failures.test_restart import machine, stand

ENDS = {Restarted: Verdict.RESTARTS, CannotRestart: Verdict.CANNOT, RestartUndecided: Verdict.UNDECIDED}


def scenario(hosts: tuple[str, ...], pools: tuple[str, ...] = ()) -> Scenario:
    return Scenario(name=" + ".join((*hosts, *pools)), hosts=hosts, pools=pools, domains=())


@st.composite
def failing(draw: st.DrawFn, case: Small) -> list[Scenario]:
    """Each host alone; some racks of hosts, some of which fail a pool too; some pools."""
    names = [one.name for one in case.stands]
    found = [scenario((name,)) for name in names]
    for _ in range(draw(st.integers(0, 3))):
        hosts = tuple(draw(st.lists(st.sampled_from(names), max_size=2, unique=True)))
        pools = draw(st.sampled_from([(), ("p0",), ("p1", "p2")]))
        if hosts or pools:
            found.append(scenario(hosts, pools))
    return found


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_every_pair_ends_as_the_restart_test_says(data: st.DataObject) -> None:
    case = data.draw(small_estates(hosts=(3, 7), fill=(30, 50, 85, 95, 98)))
    scenarios = data.draw(failing(case))
    test = RestartTest(case.machines, case.stands, lost_hold=data.draw(st.booleans()))
    table = decide_pairs(test, scenarios)
    for i, j in combinations(range(len(scenarios)), 2):
        hosts = (*scenarios[i].hosts, *scenarios[j].hosts)
        pools = (*scenarios[i].pools, *scenarios[j].pools)
        assert table.verdicts[i, j] == ENDS[type(test.restart(hosts, pools))], (i, j, table.decided)
    assert sum(count for _, count in table.decided) == len(scenarios) * (len(scenarios) - 1) // 2


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_every_pair_ends_as_brute_force_says(data: st.DataObject) -> None:
    case = data.draw(small_estates(hosts=(3, 5), machines_a_host=2, fill=(50, 85, 95, 98)))
    scenarios = data.draw(failing(case))
    table = decide_pairs(RestartTest(case.machines, case.stands), scenarios)
    for i, j in combinations(range(len(scenarios)), 2):
        hosts = {*scenarios[i].hosts, *scenarios[j].hosts}
        pools = {*scenarios[i].pools, *scenarios[j].pools}
        exists = brute_restart(case.machines, case.stands, hosts, pools) is not None
        assert table.verdicts[i, j] == (Verdict.RESTARTS if exists else Verdict.CANNOT)


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_alone_is_what_the_restart_test_says(data: st.DataObject) -> None:
    case = data.draw(small_estates())
    scenarios = data.draw(failing(case))
    test = RestartTest(case.machines, case.stands)
    for one, found in zip(scenarios, decide_alone(test, scenarios), strict=True):
        assert found.verdict == ENDS[type(test.restart(one.hosts, one.pools))]
        assert bool(found.ways) == (found.verdict is Verdict.RESTARTS)


def test_what_was_not_tested_is_counted_as_undecided() -> None:
    # Both ways of a and of b lead to c, whose room takes one of the two; only a test finds that the other goes to d.
    hosts = [stand(name, 8, pools=("p",) if name in "abcd" else ()) for name in "abcdefghi"]
    machines = [machine("ma", "a", 8, pools=("p",)), machine("mb", "b", 8, pools=("p",))]
    scenarios = [scenario(("a",)), scenario(("b",))]
    test = RestartTest(machines, hosts)
    assert [len(one.ways) for one in decide_alone(test, scenarios)] == [1, 1]
    whole = decide_pairs(test, scenarios)
    assert list(whole.pairs(Verdict.RESTARTS)) == [(0, 1)]
    cut = decide_pairs(test, scenarios, most_tested=0, most_solved=0)
    assert list(cut.pairs(Verdict.UNDECIDED)) == [(0, 1)]
    assert cut.count(Verdict.UNDECIDED) == 1
    assert sum(count for _, count in cut.decided) == 0


def test_two_processes_find_what_one_does() -> None:
    hosts = [stand(f"h{n:02}", 40) for n in range(24)]
    machines = [machine(f"m{n}", f"h{n % 24:02}", 1 + n % 9) for n in range(130)]
    scenarios = [scenario((one.name,)) for one in hosts]
    test = RestartTest(machines, hosts)
    with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("spawn")) as executor:
        spread = decide_pairs(test, scenarios, executor=executor)
    alone = decide_pairs(test, scenarios)
    assert (spread.verdicts == alone.verdicts).all()
    assert spread.decided == alone.decided


@settings(max_examples=40, deadline=None)
@given(small_estates(hosts=(12, 12), machines_a_host=2, fill=(95, 98), rules=False))
def test_pairs_of_nearly_full_hosts(case: Small) -> None:
    assume(case.machines)
    scenarios = [scenario((one.name,)) for one in case.stands]
    test = RestartTest(case.machines, case.stands)
    table = decide_pairs(test, scenarios)
    for i, j in list(combinations(range(12), 2))[::5]:
        assert table.verdicts[i, j] == ENDS[type(test.restart((*scenarios[i].hosts, *scenarios[j].hosts)))]
