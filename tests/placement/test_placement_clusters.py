"""Several clusters in one question, and what a member may ask for beyond memory: its class of vCPUs, two a domain, votes."""

from dataclasses import replace
from itertools import permutations

import pytest

from staddle.placement.cost import level_values
from staddle.placement.data import Tables
from staddle.placement.model import Apart, BestShown, ClusterRules, MemberNeed, NoneExists, Problem, Seat
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import GIB, cluster, every_valid, host, member, ousemoor, pool


def two_clusters(levels: str = "levels", gates: str = "gates", **changes: object) -> Problem:
    """Three members of one cluster and two of another on six hosts in three racks, each kept apart by rack."""
    rules = cluster(majority_kinds=(), one_cpu_level=False)
    problem = ousemoor(
        members=(
            *(member(f"lv{n}", cluster=levels, leads=("first", "second", "never")[n]) for n in range(3)),
            *(member(f"gt{n}", cluster=gates, memory_bytes=24 * GIB) for n in range(2)),
        ),
        clusters=(replace(rules, name=levels), replace(rules, name=gates)),
    )
    return replace(problem, **changes)  # type: ignore[arg-type]  # fields of the value


def best(problem: Problem) -> tuple[Seat, ...]:
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert not broken_rules(problem, outcome.placement.seats)
    return outcome.placement.seats


def racks(problem: Problem, seats: tuple[Seat, ...], names: str) -> list[str]:
    rack = {h.name: dict(h.domains)["rack"] for h in problem.hosts}
    return sorted(rack[seat.host] for seat in seats if seat.member.startswith(names))


def test_rules_hold_in_each_cluster_and_not_between_them() -> None:
    # Five members in three racks: kept apart by rack within each cluster, not across.
    problem = two_clusters()
    seats = best(problem)
    assert racks(problem, seats, "lv") == ["om-r1", "om-r2", "om-r3"]
    assert len(set(racks(problem, seats, "gt"))) == 2
    one = replace(
        problem,
        members=tuple(replace(m, cluster="levels", leads="never") for m in problem.members),
        clusters=problem.clusters[:1],
    )
    assert isinstance(solve(one), NoneExists)


def test_one_cluster_may_have_rules_that_the_other_has_not() -> None:
    problem = two_clusters()
    levels, gates = problem.clusters
    third_full = tuple(
        replace(h, memory_bytes=0) if ("rack", "om-r3") in h.domains else h for h in problem.hosts
    )
    assert isinstance(solve(replace(problem, hosts=third_full)), NoneExists)
    looser = replace(levels, apart=(Apart(kind="host"), Apart(kind="rack", most=2)))
    problem = replace(problem, hosts=third_full, clusters=(looser, gates))
    seats = best(problem)
    assert len(set(racks(problem, seats, "lv"))) == 2
    assert len(set(racks(problem, seats, "gt"))) == 2


@pytest.mark.parametrize(("levels", "gates"), [("levels", "gates"), ("a", "z"), ("z", "a"), ("", "x")])
def test_names_of_clusters_change_nothing(levels: str, gates: str) -> None:
    assert best(two_clusters(levels, gates)) == best(two_clusters())


def test_order_of_clusters_changes_nothing() -> None:
    problem = two_clusters()
    seats = {tuple(best(replace(problem, clusters=order))) for order in permutations(problem.clusters)}
    assert len(seats) == 1


def test_clusters_share_what_there_is() -> None:
    # Each host has room for one member only: five members need five of six hosts. With four hosts none exists, although
    # either cluster by itself would find room.
    problem = two_clusters()
    narrow = tuple(replace(h, memory_bytes=24 * GIB) for h in problem.hosts)
    seats = best(replace(problem, hosts=narrow))
    assert len({seat.host for seat in seats}) == 5
    fewer = replace(
        problem,
        hosts=tuple(replace(h, memory_bytes=0) if h.name in ("om-h1", "om-h3") else h for h in narrow),
    )
    outcome = solve(fewer)
    assert isinstance(outcome, NoneExists)
    assert "memory" in {rule.name for rule in outcome.conflict}
    for rules in fewer.clusters:
        own = tuple(m for m in fewer.members if m.cluster == rules.name)
        assert isinstance(solve(replace(fewer, members=own, clusters=(rules,))), BestShown)


def test_two_clusters_against_every_placement() -> None:
    rules = ClusterRules(name="a", apart=(Apart(kind="host"),))
    other = ClusterRules(name="b", apart=(Apart(kind="rack"),))
    hosts = tuple(
        host(f"h{n}", f"r{n // 2}", pools=(), memory_bytes=own * GIB)
        for n, own in enumerate((20, 40, 33, 17))
    )
    members = tuple(
        member(f"m{n}", disks=(), cluster=name, memory_bytes=size * GIB)
        for n, (name, size) in enumerate((("a", 16), ("a", 16), ("b", 17), ("b", 9)))
    )
    problem = Problem(members=members, hosts=hosts, clusters=(rules, other))
    valid = every_valid(problem)
    assert valid
    tables = Tables(problem)
    assert level_values(tables, best(problem)) == min(level_values(tables, seats) for seats in valid)


# what a member or host may ask for besides


def at_one_a_core(name: str) -> MemberNeed:
    """8 vCPUs that each want a core of their own."""
    return member(name, disks=(), vcpus=8, vcpu_per_core=1.0)


def lone(members: tuple[MemberNeed, ...], **changes: object) -> Problem:
    """On one host of 64 GiB at four vCPUs a core."""
    fields = {"pools": (), "vcpu_per_core": 4.0, "vcpus": 64} | changes
    return Problem(
        members=members,
        hosts=(host("h", "r", **fields),),
        clusters=(ClusterRules(apart=()),),
    )


def test_a_class_of_fewer_vcpus_a_core_takes_more_of_the_host() -> None:
    # 64 vCPUs at 4 a core are 16 cores. 8 vCPUs at 1 a core take 8 of them, as 32 vCPUs at 4 a core would.
    two = (at_one_a_core("a"), at_one_a_core("b"))
    assert best(lone(two))
    assert isinstance(solve(lone(two, vcpus=63)), NoneExists)
    assert isinstance(solve(lone((*two, member("c", disks=(), vcpus=1)))), NoneExists)
    beside = (at_one_a_core("a"), *(member(f"c{n}", disks=(), vcpus=8, memory_bytes=GIB) for n in range(4)))
    assert best(lone(beside))
    assert isinstance(solve(lone((*beside, member("d", disks=(), vcpus=1, memory_bytes=GIB)))), NoneExists)
    # A class that allows more a core than the host does not stretch the host.
    assert best(lone((member("e", disks=(), vcpus=64, vcpu_per_core=8.0),), node_cores=0))
    assert isinstance(
        solve(lone((member("e", disks=(), vcpus=65, vcpu_per_core=8.0),), node_cores=0)), NoneExists
    )


def test_what_a_host_needs_for_each_guest_besides_counts() -> None:
    # 16 GiB and 5 % are 16.8 GiB: three fit into 50.4 GiB and not into a byte less; rounded up each by itself.
    three = tuple(member(f"m{n}", disks=(), vcpus=1) for n in range(3))
    each = -(-16 * GIB * 105 // 100)
    assert best(lone(three, memory_bytes=3 * each, guest_overhead_percent=5))
    outcome = solve(lone(three, memory_bytes=3 * each - 1, guest_overhead_percent=5))
    assert isinstance(outcome, NoneExists)
    assert [rule.name for rule in outcome.conflict] == ["memory"]
    assert best(lone(three, memory_bytes=3 * 16 * GIB))


def far(**changes: object) -> Problem:
    """Two hosts at ousemoor, two at tollgate, one at fleam; ousemoor and tollgate are too far from each other."""
    sites = ("ousemoor", "ousemoor", "tollgate", "tollgate", "fleam")
    return Problem(
        members=tuple(member(f"m{n}", disks=(), **changes if n == 2 else {}) for n in range(3)),
        hosts=tuple(
            host(f"h{n}", f"r{n}", pools=(), domains=(("rack", f"r{n}"), ("site", site)))
            for n, site in enumerate(sites)
        ),
        clusters=(ClusterRules(too_far=(("ousemoor", "tollgate"),)),),
    )


def test_data_does_not_stand_at_two_sites_too_far_from_each_other() -> None:
    problem = far()
    found = {seat.host for seat in best(problem)}
    assert found in ({"h0", "h1", "h4"}, {"h2", "h3", "h4"})
    without_fleam = replace(problem, hosts=problem.hosts[:4])
    outcome = solve(without_fleam)
    assert isinstance(outcome, NoneExists)
    assert {rule.name for rule in outcome.conflict} == {"latency", "apart:host"}
    # A member without data, as one that only breaks ties, may stand there.
    witness = replace(far(data=False), hosts=problem.hosts[:4])
    assert len({seat.host for seat in best(witness)}) == 3


def test_two_in_a_rack_are_let_and_three_are_not() -> None:
    two = (Apart(kind="host"), Apart(kind="rack", most=2))
    hosts = tuple(host(f"h{n}", f"r{n // 3}", pools=("p",)) for n in range(6))
    pools = (pool("p"),)
    problem = Problem(
        members=tuple(member(f"m{n}") for n in range(4)),
        hosts=hosts,
        pools=pools,
        clusters=(ClusterRules(apart=two),),
    )
    assert racks(problem, best(problem), "m") == ["r0", "r0", "r1", "r1"]
    five = replace(problem, members=tuple(member(f"m{n}") for n in range(5)))
    outcome = solve(five)
    assert isinstance(outcome, NoneExists)
    assert {rule.name for rule in outcome.conflict} == {"apart:rack"}
    assert "at most 2 members in a rack" in outcome.conflict[0].text


def test_no_rack_holds_half_of_the_votes() -> None:
    # Five voters in three racks: two, two and one. In two racks one of them would hold three of five.
    problem = ousemoor(
        members=tuple(member(f"m{n}") for n in range(5)), apart=("host",), majority_kinds=("rack",)
    )
    assert racks(problem, best(problem), "m") == ["om-r1", "om-r1", "om-r2", "om-r2", "om-r3"]
    two = replace(problem, hosts=problem.hosts[:4])
    assert isinstance(solve(two), NoneExists)
    # Four voters and a member without a vote: no rack may hold two of four.
    four = replace(problem, members=(*problem.members[:4], member("m4", votes=False)))
    assert isinstance(solve(four), NoneExists)


def test_the_deputy_is_kept_apart_from_the_leader_by_a_named_domain() -> None:
    problem = ousemoor(apart=("host",), deputy_apart=("rack",), hosts=ousemoor().hosts[:3], majority_kinds=())
    rack = {h.name: dict(h.domains)["rack"] for h in problem.hosts}
    at = {seat.member: rack[seat.host] for seat in best(problem)}
    assert at["sl1"] != at["sl2"]
    one_rack = replace(
        problem, hosts=tuple(host(f"om-h{n}", "om-r1", domains=(("rack", "om-r1"),)) for n in range(1, 4))
    )
    outcome = solve(one_rack)
    assert isinstance(outcome, NoneExists)
    assert {rule.name for rule in outcome.conflict} == {"deputy-apart:rack"}
    # Another member may share the rack with either.
    third = replace(one_rack, members=tuple(replace(m, leads="never") for m in one_rack.members))
    assert best(third)
