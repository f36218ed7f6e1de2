"""The words: why this host, and for every other host the first rule that excluded it or what it would cost."""

from dataclasses import replace

from staddle.placement.model import BestShown, Placement, Problem
from staddle.placement.solve import solve
from tests.placement.questions import GIB, host, member, ousemoor


def solved(problem: Problem) -> Placement:
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    return outcome.placement


def varied() -> Problem:
    """The second host of each rack differs in one thing."""
    hosts = (
        host("om-h1", "om-r1"),
        host("om-h2", "om-r1", memory_bytes=8 * GIB),
        host("om-h3", "om-r2"),
        host("om-h4", "om-r2", networks=("mgmt",)),
        host("om-h5", "om-r3"),
        host("om-h6", "om-r3", memory_bytes=48 * GIB),
    )
    return ousemoor(hosts=hosts)


def test_reason_names_the_narrowest_domain_and_what_happens_without_the_host() -> None:
    reasons = dict(solved(varied()).reasons)
    assert reasons["sl1"] == (
        "om-h1: the only host in rack om-r1 with 16 GiB and 8 vCPUs left for it, reaching pool pool-om-r1; "
        "leaves its memory 62.5 % full; shares nothing below its site; without it no placement exists"
    )
    assert reasons["sl3"] == (
        "om-h5: one of 2 hosts in rack om-r3 with 16 GiB and 8 vCPUs left for it, reaching pool pool-om-r3; "
        "leaves its memory 62.5 % full; shares nothing below its site; "
        "without it the best takes om-h6, with the fullest host at 75 % rather than 62.5 %"
    )


def test_every_host_passed_over_has_its_first_excluding_rule_or_its_cost() -> None:
    placement = solved(varied())
    told = {row.host: row.reason for row in placement.passed_over if row.members == ("sl3",)}
    assert told == {
        "om-h1": "apart:host: it would share host om-h1 with sl1",
        "om-h2": "memory: 8 GiB of memory left, needed are 16 GiB",
        "om-h3": "apart:host: it would share host om-h3 with sl2",
        "om-h4": "networks: it lacks network data",
        "om-h6": (
            "possible, number 1 of those passed over: with the fullest host at 75 % rather than 62.5 %"
        ),
    }


def test_shared_domains_are_told_with_whom() -> None:
    # Two racks for three members that are kept apart by host only: two of them must share a rack and its pool.
    problem = ousemoor(
        hosts=tuple(host(f"om-h{n}", f"om-r{(n + 1) // 2}") for n in range(1, 5)),
        apart=("host",),
    )
    placement = solved(problem)
    assert dict(placement.levels)["shared fate"] == 3  # one pair: pool 2, rack 1
    sharing = [text for _, text in placement.reasons if "shares rack" in text]
    assert len(sharing) == 2
    assert "shares rack om-r1 with sl2, pool pool-om-r1 with sl2" in sharing[0]


def test_like_members_are_told_together() -> None:
    problem = ousemoor(members=tuple(member(name) for name in ("sl1", "sl2", "sl3")))
    rows = solved(problem).passed_over
    assert {row.members for row in rows} == {("sl1", "sl2", "sl3")}
    assert sorted(row.host for row in rows) == ["om-h2", "om-h4", "om-h6"]
    assert all(row.reason.endswith("equal on every level, later in the tables") for row in rows)


def test_large_question_says_that_the_next_best_was_not_searched_for() -> None:
    hosts = tuple(host(f"h{n:03}", f"r{n % 20}", pools=()) for n in range(60))
    members = tuple(member(f"sl{n}", disks=()) for n in range(3))
    placement = solved(ousemoor(hosts=hosts, members=members, pools=()))
    assert all("the next best was not searched for" in text for _, text in placement.reasons)
    assert len(placement.passed_over) == 57


def test_single_host_has_no_alternative() -> None:
    problem = ousemoor(members=(member("sl1"),), hosts=(host("om-h1", "om-r1"),), majority_kinds=())
    assert dict(solved(problem).reasons)["sl1"].endswith("there is no other host")


def test_explanation_does_not_change_with_the_order_of_settled_seats() -> None:
    problem = ousemoor()
    settled = solved(problem).seats
    one = solved(replace(problem, settled=settled))
    assert one == solved(replace(problem, settled=settled[::-1]))
