"""What is in conflict when no placement exists: every group of it is needed for the conflict, and no other."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from staddle.placement.conflict import find_conflict
from staddle.placement.model import ConflictRule, NoneExists, Problem
from staddle.placement.solve import solve
from tests.placement.questions import GB, GIB, every_valid, host, member, ousemoor, pool


def without(problem: Problem, group: str) -> Problem:
    """The question with that group taken out of it, in the question's own terms."""
    kind, _, of = group.partition(":")
    if kind == "apart":
        return replace(problem, apart=tuple(k for k in problem.apart if k != of))
    if kind == "majority":
        return replace(problem, majority_kinds=tuple(k for k in problem.majority_kinds if k != of))
    if kind == "deputy-apart":
        return replace(problem, deputy_apart=tuple(k for k in problem.deputy_apart if k != of))
    plain: dict[str, Callable[[], Problem]] = {
        "memory": lambda: replace(
            problem,
            hosts=tuple(replace(h, memory_bytes=2**50, memory_total_bytes=2**50) for h in problem.hosts),
        ),
        "networks": lambda: replace(problem, members=tuple(replace(m, networks=()) for m in problem.members)),
        "pin": lambda: replace(problem, members=tuple(replace(m, pinned_to="") for m in problem.members)),
        "site": lambda: replace(problem, members=tuple(replace(m, site="") for m in problem.members)),
        "keep-out": lambda: replace(problem, members=tuple(replace(m, keep_out=()) for m in problem.members)),
        "cpu-level": lambda: replace(problem, one_cpu_level=False),
        "pools-named": lambda: replace(problem, allowed_pools=()),
        "pool-reach": lambda: replace(
            problem,
            hosts=tuple(replace(h, pools=tuple(p.name for p in problem.pools)) for h in problem.hosts),
        ),
        "pool-free": lambda: replace(
            problem, pools=tuple(replace(p, free_bytes=2**50, capacity_bytes=2**50) for p in problem.pools)
        ),
    }
    return plain[kind]()


SMALL = (
    # name, question, groups in conflict
    pytest.param(
        ousemoor(hosts=tuple(host(f"om-h{n}", "om-r1") for n in range(1, 4))),
        {"apart:rack"},
        id="one rack for three members",
    ),
    pytest.param(
        ousemoor(
            hosts=(
                host("om-h1", "om-r1"),
                host("om-h3", "om-r2"),
                host("om-h5", "om-r3", memory_bytes=8 * GIB),
            ),
            majority_kinds=(),
        ),
        {"memory", "apart:rack"},
        id="third rack too full, so that two would share one",
    ),
    pytest.param(
        ousemoor(
            members=(member("sl1", pinned_to="om-h1"), member("sl2", pinned_to="om-h2"), member("sl3")),
            majority_kinds=(),
        ),
        {"apart:rack", "pin"},
        id="two pinned into one rack",
    ),
    pytest.param(
        ousemoor(
            hosts=(host("om-h1", "om-r1"), host("om-h3", "om-r2", cpu_level="level-3")),
            members=(member("sl1", keep_out=("om-r2",)), member("sl2")),
            apart=("host",),
            majority_kinds=(),
        ),
        {"cpu-level", "apart:host"},
        id="the only second host is of another CPU level",
    ),
    pytest.param(
        ousemoor(allowed_pools=("pool-om-r1", "pool-om-r2"), majority_kinds=()),
        {"pool-reach", "pools-named", "apart:rack"},
        id="third rack reaches no pool that the design names",
    ),
    pytest.param(
        ousemoor(
            members=(member("sl1"),),
            pools=tuple(pool(f"pool-om-r{n}", free_bytes=99 * GB) for n in range(1, 4)),
            majority_kinds=(),
        ),
        {"pool-free"},
        id="pools at their floor",
    ),
)


@pytest.mark.parametrize(("problem", "expected"), SMALL)
def test_conflict_names_the_right_groups_and_needs_each(problem: Problem, expected: set[str]) -> None:
    assert not every_valid(problem)
    outcome = solve(problem)
    assert isinstance(outcome, NoneExists)
    names = {rule.name for rule in outcome.conflict}
    assert names == expected
    assert outcome.irreducible
    # Irreducible, by trying everything: with only the conflict's groups none exists, and without any one of them some do.
    for name in (rule.name for rule in outcome.conflict):
        assert every_valid(without(problem, name)), f"{name} was not needed"


def test_conflict_is_told_in_words_of_the_design() -> None:
    problem = ousemoor(
        members=(
            member("sl1", pinned_to="om-h1", leads="first"),
            member("sl2", pinned_to="om-h1", leads="second"),
        ),
        apart=(),
        deputy_apart=("host",),
        majority_kinds=(),
    )
    outcome = solve(problem)
    assert isinstance(outcome, NoneExists)
    assert [rule.text for rule in outcome.conflict] == [
        "the deputy sl2 shares no host with the leader sl1",
        "members.host: sl1 on om-h1, sl2 on om-h1",
    ]


def test_undecided_question_ends_the_claim_to_be_irreducible() -> None:
    groups = tuple(ConflictRule(name=name, text=name) for name in ("a", "b", "c"))

    def possible(active: frozenset[str]) -> bool | None:
        if "a" not in active:
            return None  # not decided within its limit
        return "b" not in active

    outcome = find_conflict(groups, possible)
    assert [rule.name for rule in outcome.conflict] == ["a", "b"]
    assert not outcome.irreducible
