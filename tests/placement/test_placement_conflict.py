"""What is in conflict when no placement exists: every group of it is needed for the conflict, and no other."""

from dataclasses import replace

import pytest

from staddle.placement.conflict import find_conflict
from staddle.placement.model import ConflictRule, NoneExists, Problem
from staddle.placement.solve import solve
from tests.placement.questions import GB, GIB, any_valid, host, member, ousemoor, pool


def only(problem: Problem, groups: set[str]) -> Problem:
    """The question with every other group taken out of it, in the question's own terms."""
    members, hosts, pools = problem.members, problem.hosts, problem.pools
    (rules,) = problem.clusters
    every_pool = tuple(p.name for p in pools)
    drop_host: dict[str, dict[str, object]] = {
        "memory": {"memory_bytes": 2**50, "memory_total_bytes": 2**50},
        "vcpus": {"vcpus": 1000},
        "numa": {"node_cores": 0, "node_memory_bytes": 0},
        "pool-reach": {"pools": every_pool},
    }
    drop_pool: dict[str, dict[str, object]] = {
        "pool-free": {"free_bytes": 2**50, "capacity_bytes": 2**50},
        "pool-promise": {"promise_bytes": 2**50},
    }
    members = tuple(
        replace(
            m,
            networks=m.networks if "networks" in groups else (),
            pinned_to=m.pinned_to if f"pin:{m.pinned_to}" in groups else "",
            site=m.site if f"site:{m.site}" in groups else "",
            keep_out=tuple(name for name in m.keep_out if f"keep-out:{name}" in groups),
        )
        for m in members
    )
    for name in drop_host.keys() - groups:
        hosts = tuple(replace(h, **drop_host[name]) for h in hosts)  # type: ignore[arg-type]
    for name in drop_pool.keys() - groups:
        pools = tuple(replace(p, **drop_pool[name]) for p in pools)  # type: ignore[arg-type]
    return replace(
        problem,
        members=members,
        hosts=hosts,
        pools=pools,
        clusters=(
            replace(
                rules,
                apart=tuple(row for row in rules.apart if f"apart:{row.kind}" in groups),
                deputy_apart=tuple(k for k in rules.deputy_apart if f"deputy-apart:{k}" in groups),
                majority_kinds=tuple(k for k in rules.majority_kinds if f"majority:{k}" in groups),
                allowed_pools=rules.allowed_pools if "pools-named" in groups else (),
                one_cpu_level=rules.one_cpu_level and "one-cpu-level" in groups,
            ),
        ),
    )


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
            members=(member("sl1", pinned_to="om-h1"), member("sl2", pinned_to="om-h2")),
            majority_kinds=(),
        ),
        {"apart:rack", "pin:om-h1", "pin:om-h2"},
        id="two pinned into one rack",
    ),
    pytest.param(
        ousemoor(
            hosts=(host("om-h1", "om-r1"), host("om-h3", "om-r2", cpu_level="level-3")),
            members=(member("sl1", keep_out=("om-r2",)), member("sl2")),
            apart=("host",),
            majority_kinds=(),
        ),
        {"one-cpu-level", "apart:host"},
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
    assert not any_valid(problem)
    outcome = solve(problem)
    assert isinstance(outcome, NoneExists)
    names = {rule.name for rule in outcome.conflict}
    assert names == expected
    assert outcome.irreducible
    # By trying everything: under the conflict's groups alone none exists, and without any one of them some do.
    assert not any_valid(only(problem, names))
    for name in names:
        assert any_valid(only(problem, names - {name})), f"{name} was not needed"


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
        "members.host: sl1, sl2 on om-h1",
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


def test_a_change_is_told_once_though_members_that_are_not_alike_lack_the_same() -> None:
    # The first and the second are not alike, since they lead; both lack the same on om-h1.
    full = host("om-h1", "om-r1", memory_bytes=8 * GIB)
    problem = ousemoor()
    members = (replace(problem.members[0], pinned_to="om-h1"), *problem.members[1:])
    outcome = solve(replace(problem, members=members, hosts=(full, *problem.hosts[1:])))
    assert isinstance(outcome, NoneExists)
    told = [mend.text for mend in outcome.mends]
    assert "8 GiB more memory on om-h1 at ousemoor" in told
    assert len(told) == len(set(told))
