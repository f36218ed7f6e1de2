"""Each method of the restart test alone: what it proves is so, what it finds is checked, two solvers agree.

Packings are small enough for brute force or have a published optimum.
"""

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.failures.counting import refute
from staddle.failures.firstfit import quick_fit
from staddle.failures.outcome import CannotRestart, Restarted
from staddle.failures.pattern import solve_patterns
from staddle.failures.restart import RestartTest
from staddle.failures.restart_cp import Undecided, solve_cp
from staddle.failures.running import Running, Stand
from tests.failures.published_packings import PACKINGS, Packing, onto_equal_hosts
from tests.failures.restart_checker import broken, brute_restart
from tests.failures.small_estates import GIB, Small, small_estates


@st.composite
def tight_packings(draw: st.DrawFn) -> Small:
    """One host fails; what stood there fills the survivors' room to 90 to 100 % in memory, in cores, or in both."""
    sizes = draw(st.lists(st.tuples(st.integers(2, 14), st.integers(1, 8)), min_size=3, max_size=7))
    apart = draw(st.sampled_from([("",), ("",), ("", "", "g")]))
    pools = draw(st.sampled_from([("",), ("",), ("", "p")]))
    machines = [
        Running(
            name=f"m{n}",
            host="fails",
            memory_bytes=gib * GIB,
            vcpus=vcpus,
            apart=draw(st.sampled_from(apart)),
            pools=tuple(filter(None, [draw(st.sampled_from(pools))])),
        )
        for n, (gib, vcpus) in enumerate(sizes)
    ]
    count = draw(st.integers(2, 4))
    percent = draw(st.sampled_from([90, 95, 98, 100]))
    equal = draw(st.booleans())
    stands = [Stand(name="fails", memory_bytes=2**50, cores=999, vcpu_per_core=1, pools=("p",))]
    for resource in range(2):
        total = -(-sum(size[resource] for size in sizes) * 100 // percent)
        shares = [1] * count if equal else [draw(st.integers(1, 3)) for _ in range(count)]
        rooms = [-(-total * share // sum(shares)) for share in shares]
        if draw(st.booleans()) and resource:
            rooms = [99] * count
        if not resource:
            memory = rooms
    stands += [
        Stand(
            name=f"h{n}",
            memory_bytes=memory[n] * GIB,
            cores=rooms[n],
            vcpu_per_core=1,
            pools=("p",) if n or draw(st.booleans()) else (),
        )
        for n in range(count)
    ]
    return Small(tuple(machines), tuple(stands), ("fails",), ())


def exact_answers(case: Small) -> list[list[int] | Undecided | None]:
    test = RestartTest(case.machines, case.stands)
    question = test.question(case.hosts, case.pools)
    answers = [solve_patterns(question), solve_cp(question, limit_s=5)]
    for at in answers:
        if isinstance(at, list):
            seats = question.seats(at)
            assert len(seats) == len(question.displaced)
            assert broken(case.machines, case.stands, case.hosts, case.pools, dict(seats)) == []
    return answers


@settings(max_examples=80, deadline=None)
@given(tight_packings() | small_estates())
def test_both_solvers_say_what_brute_force_says(case: Small) -> None:
    exists = brute_restart(case.machines, case.stands, case.hosts, case.pools) is not None
    patterns, constraints = exact_answers(case)
    assert isinstance(constraints, list) == exists
    assert not isinstance(constraints, Undecided)
    # Patterns do not know machines that keep apart from each other, and say so.
    assert isinstance(patterns, Undecided) or isinstance(patterns, list) == exists


@settings(max_examples=120, deadline=None)
@given(tight_packings() | small_estates())
def test_what_counting_refutes_does_not_exist_and_what_first_fit_finds_holds(case: Small) -> None:
    question = RestartTest(case.machines, case.stands).question(case.hosts, case.pools)
    reason, at = refute(question), quick_fit(question)
    if reason is not None:
        assert brute_restart(case.machines, case.stands, case.hosts, case.pools) is None
        assert at is None
    if at is not None:
        assert broken(case.machines, case.stands, case.hosts, case.pools, dict(question.seats(at))) == []


@pytest.mark.parametrize("seed", range(50))
def test_two_solvers_agree_on_random_restarts(seed: int) -> None:
    dice = random.Random(seed)
    sizes = [(dice.choice([2, 4, 8, 12, 16, 24]), dice.choice([1, 2, 4, 8])) for _ in range(16)]
    machines = [
        Running(name=f"m{n}", host="fails", memory_bytes=gib * GIB, vcpus=vcpus)
        for n, (gib, vcpus) in enumerate(sizes)
    ]
    hosts = dice.choice([4, 5])
    percent = dice.choice([95, 98, 100])
    memory = -(-sum(gib for gib, _ in sizes) * 100 // percent // hosts)
    cores = -(-sum(vcpus for _, vcpus in sizes) * 100 // percent // hosts)
    stands = [
        Stand(name=f"h{n}", memory_bytes=memory * GIB, cores=cores, vcpu_per_core=1) for n in range(hosts)
    ]
    stands.append(Stand(name="fails", memory_bytes=2**50, cores=999, vcpu_per_core=1))
    patterns, constraints = exact_answers(Small(tuple(machines), tuple(stands), ("fails",), ()))
    assert not isinstance(patterns, Undecided)
    assert not isinstance(constraints, Undecided)
    assert isinstance(patterns, list) == isinstance(constraints, list)


@pytest.mark.parametrize("packing", PACKINGS, ids=lambda packing: packing.name)
def test_patterns_reach_the_published_optimum(packing: Packing) -> None:
    machines, stands = onto_equal_hosts(packing, packing.optimum)
    question = RestartTest(machines, stands).question(["fails"])
    at = solve_patterns(question)
    assert isinstance(at, list)
    assert broken(machines, stands, ["fails"], [], dict(question.seats(at))) == []


@pytest.mark.parametrize("packing", PACKINGS, ids=lambda packing: packing.name)
def test_one_host_fewer_than_the_published_optimum_is_too_few(packing: Packing) -> None:
    machines, stands = onto_equal_hosts(packing, packing.optimum - 1)
    test = RestartTest(machines, stands)
    assert solve_patterns(test.question(["fails"])) is None
    assert isinstance(test.restart(["fails"]), CannotRestart)


def test_the_whole_test_finds_the_optimum_where_first_fit_does_not() -> None:
    machines, stands = onto_equal_hosts(PACKINGS[0], PACKINGS[0].optimum)
    assert quick_fit(RestartTest(machines, stands).question(["fails"])) is None  # it needs 11 of 9
    assert isinstance(RestartTest(machines, stands).restart(["fails"]), Restarted)


@pytest.mark.parametrize(
    ("name", "bound"),
    # Martello & Toth's L1 (sums) says 3 for f2 and L2 says 4; N1C1W1_B has L2 = 31, u120_00 L2 = 48, t60_00 L2 = 20.
    [("f2", 4), ("N1C1W1_B", 31), ("u120_00", 48), ("t60_00", 20)],
)
def test_counting_is_as_sharp_as_the_published_bound(name: str, bound: int) -> None:
    packing = next(packing for packing in PACKINGS if packing.name == name)
    for hosts, refuted in ((bound - 1, True), (bound, False)):
        question = RestartTest(*onto_equal_hosts(packing, hosts)).question(["fails"])
        assert (refute(question) is not None) == refuted
