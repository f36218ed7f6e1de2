"""Judgements and the failure table against plain counting, brute force, and every pair judged alone."""

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.failures.minimum import why_down
from staddle.failures.reachable import cut_off
from staddle.failures.restart import RestartTest
from staddle.failures.running import Running
from staddle.failures.scenario import Scenario
from staddle.kernel import InputRefused
from staddle.survival.failuretable import Ask, failure_table
from staddle.survival.judge import ALL, SOME, UNDECIDED, Judge
from staddle.survival.serving import Ours, State, state_of
from staddle.survival.times import COMMON_PRACTICE, Span
from tests.failures.restart_checker import broken, brute_restart, is_lost, must_restart
from tests.failures.small_estates import Small, small_estates
from tests.failures.test_restart import machine, stand

LEADER, DEPUTY, THIRD = (Ours(name="a", leads="first"), Ours(name="b", leads="second"), Ours(name="c"))
WITNESS = Ours(name="w", data=False)


def host(name: str) -> Scenario:
    return Scenario(name=f"host {name}", hosts=(name,), pools=(), domains=(("host", name),))


@pytest.mark.parametrize(
    ("left", "every", "least", "state"),
    [
        # By hand, from the rule: enough data members, more than half of the votes, the leader or its deputy.
        ((LEADER, DEPUTY, THIRD), (LEADER, DEPUTY, THIRD), 2, State.SERVING),
        ((DEPUTY, THIRD), (LEADER, DEPUTY, THIRD), 2, State.DEGRADED),
        ((LEADER,), (LEADER, DEPUTY, THIRD), 1, State.DOWN),  # 1 of 3 votes
        ((LEADER,), (LEADER, DEPUTY), 1, State.DOWN),  # 1 of 2 votes is not more than half
        ((LEADER, WITNESS), (LEADER, DEPUTY, WITNESS), 1, State.DEGRADED),  # the tie-breaker's vote
        ((LEADER, WITNESS), (LEADER, DEPUTY, WITNESS), 2, State.DOWN),  # it holds no data
        (
            (THIRD, WITNESS, replace(THIRD, name="d")),
            (LEADER, THIRD, WITNESS, replace(THIRD, name="d")),
            2,
            State.DOWN,
        ),
        ((), (), 0, State.SERVING),
    ],
)
def test_whether_a_cluster_serves(
    left: tuple[Ours, ...], every: tuple[Ours, ...], least: int, state: State
) -> None:
    assert state_of(left, every, least_data=least) is state
    assert bool(why_down(left, every, least_data=least)) == (state is State.DOWN)


@st.composite
def clusters(draw: st.DrawFn, machines: tuple[Running, ...]) -> tuple[Ours, ...]:
    """Some of the machines as members of a cluster."""
    names = (
        draw(st.lists(st.sampled_from([m.name for m in machines]), max_size=4, unique=True))
        if machines
        else []
    )
    leads = ["first", "second", "never", "never"]
    return tuple(
        Ours(name=name, data=draw(st.booleans()), votes=draw(st.booleans()), leads=leads[number])
        for number, name in enumerate(names)
    )


@settings(max_examples=80, deadline=None)
@given(st.data())
def test_a_judgement_is_what_plain_counting_says(data: st.DataObject) -> None:
    case: Small = data.draw(small_estates())
    members = data.draw(clusters(case.machines))
    judge = Judge(
        RestartTest(case.machines, case.stands),
        members,
        least_data=data.draw(st.integers(0, sum(m.data for m in members))),
    )
    found = judge.judge(Scenario(name="x", hosts=case.hosts, pools=case.pools, domains=()))
    names = {m.name for m in members}
    lost = {m.name for m in case.machines if is_lost(m, case.pools)}
    displaced = {m.name for m in must_restart(case.machines, case.hosts, case.pools)}
    assert set(found.members_lost) == lost & names
    assert set(found.members_displaced) == displaced & names
    assert found.guests_lost == len(lost - names)
    assert found.guests_restarted + len(set(found.not_restarted) - names) == len(displaced - names)
    exists = brute_restart(case.machines, case.stands, case.hosts, case.pools) is not None
    assert found.restarts == (ALL if exists else SOME)
    assert bool(found.reason) != exists
    assert broken(case.machines, case.stands, case.hosts, case.pools, dict(found.seats)) == []
    up = [m for m in members if m.name not in lost | displaced]
    again = [m for m in members if m in up or m.name in dict(found.seats)]
    assert found.at_once is state_of(up, members, least_data=judge.least_data)
    assert found.afterwards is state_of(again, members, least_data=judge.least_data)


@settings(max_examples=40, deadline=None)
@given(st.data())
def test_the_table_of_pairs_counts_what_each_pair_is_judged_to_do(data: st.DataObject) -> None:
    case: Small = data.draw(small_estates(hosts=(2, 6)))
    members = data.draw(clusters(case.machines))
    judge = Judge(
        RestartTest(case.machines, case.stands),
        members,
        least_data=data.draw(st.integers(0, sum(m.data for m in members))),
    )
    scenarios = list(cut_off([host(one.name) for one in case.stands], case.stands))
    together = [
        Scenario(name=f"{one.name} + {other.name}", hosts=(*one.hosts, *other.hosts), pools=(), domains=())
        for one, other in combinations(scenarios, 2)
    ]
    # What only the two reach is lost with them.
    together = [
        replace(
            one,
            pools=tuple(
                pool
                for pool in ("p0", "p1", "p2")
                if (who := {s.name for s in case.stands if pool in s.pools}) and who <= set(one.hosts)
            ),
        )
        for one in together
    ]
    each = [judge.judge(one) for one in together]
    two = Ask(sentence="any 2 hosts", count=len(together), scenarios=iter(()), two_hosts=True)
    slow = Ask(sentence="the same", count=len(together), scenarios=iter(together))
    table = failure_table(judge, scenarios, asked=(two, slow))
    assert table.doubles is not None
    assert dict(table.doubles.states) == {s.value: sum(one.at_once is s for one in each) for s in State}
    assert dict(table.doubles.restarts) == {
        word: sum(one.restarts == word for one in each) for word in (ALL, SOME, UNDECIDED)
    }
    quick, plain = table.asked
    assert (quick.failing, quick.undecided, quick.judged) == (plain.failing, plain.undecided, plain.judged)
    # The one that is shown first is one of the worst there are.
    if table.doubles.worst and quick.failing:
        worst = max(each, key=lambda one: (one.at_once is State.DOWN, one.restarts == SOME))
        shown = table.doubles.worst
        assert max((one.at_once is State.DOWN, one.restarts == SOME) for one in shown) == (
            worst.at_once is State.DOWN,
            worst.restarts == SOME,
        )


def test_the_worst_stands_first() -> None:
    hosts = [stand("h1", 8), stand("h2", 8), stand("h3", 8), stand("h4", 8)]
    machines = [
        machine("a", "h1", 4),
        machine("b", "h2", 4),
        machine("c", "h3", 8),
        machine("guest", "h4", 8),
    ]
    judge = Judge(RestartTest(machines, hosts), (LEADER, DEPUTY, THIRD), least_data=2)
    found = failure_table(judge, [host(one.name) for one in hosts], asked=()).singles
    assert [(one.scenario.name, one.afterwards.value, one.not_restarted) for one in found] == [
        ("host h3", "degraded", ("c",)),
        ("host h1", "serving", ()),  # degraded at once
        ("host h2", "serving", ()),
        ("host h4", "serving", ("guest",)),
    ]


def test_times_add_up_as_people_add_them() -> None:
    hosts = [stand("h1", 8), stand("h2", 8), stand("h3", 8)]
    machines = [
        machine("a", "h1", 4, pools=()),
        machine("b", "h2", 4),
        machine("c", "h3", 4),
    ]
    judge = Judge(RestartTest(machines, hosts), (LEADER, DEPUTY, THIRD), least_data=2)
    # 15 + 120 + 600 s and 60 + 600 + 2700 s; taking over 15 + 1 and 60 + 10 s (common practice, no source).
    assert judge.judge(host("h1")).back == Span(low_s=735, high_s=3360)
    assert COMMON_PRACTICE.until_taken_over == Span(low_s=16, high_s=70)
    lost = Scenario(name="pool", hosts=(), pools=("p",), domains=())
    on_pool = [replace(machines[0], pools=("p",)), *machines[1:]]
    stands = [replace(one, pools=("p",)) for one in hosts]
    again = Judge(RestartTest(on_pool, stands), (LEADER, DEPUTY, THIRD), least_data=2).judge(lost)
    assert (again.members_lost, again.at_once, again.back) == (
        ("a",),
        State.DEGRADED,
        Span(low_s=16, high_s=70),
    )


def test_a_cluster_that_never_serves_is_refused() -> None:
    with pytest.raises(InputRefused, match="needs 3 data members and has 2"):
        Judge(RestartTest([], []), (LEADER, DEPUTY, WITNESS), least_data=3)
