"""Every rule says exactly what it should of a bad job and nothing of a near one; none is without both.

The cases stand in rules_of_<topic>.py, one file for each file of rules. Outside values: clock changes are check values
of the IANA data of 2026; the even spread of votes is held to brute force.
"""

import importlib
import itertools
import pkgutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import Finding
from staddle.placement.model import Seat
from staddle.placement.verify import broken_rules
from staddle.review.catalogue import all_rules
from staddle.review.facts import Facts, Need
from staddle.review.review import review
from staddle.review.rules.enough import crowded
from staddle.review.rules.wishes import least_lost
from tests.review.ousemoor import ESTATE, SEATS, facts_of

Fires = tuple[Callable[[], Facts], tuple[Finding, ...]]
TOPICS = [
    importlib.import_module(f"tests.review.{info.name}")
    for info in pkgutil.iter_modules([str(Path(__file__).parent)])
    if info.name.startswith("rules_of_")
]
RULES = {one.name: one for one in all_rules()}
FIRES: dict[str, list[Fires]] = {name: cases for topic in TOPICS for name, cases in topic.FIRES.items()}
QUIET: dict[str, list[Callable[[], Facts]]] = {
    name: cases for topic in TOPICS for name, cases in topic.QUIET.items()
}
PARTS = {
    Need.ESTATE: "estate",
    Need.PACKAGE: "package",
    Need.VERIFICATION: "verification",
    Need.PROFILE: "profile",
    Need.PROBLEM: "problem",
    Need.SEATS: "seats",
    Need.ADDRESSES: "addresses",
    Need.ANSWERS: "answers",
    Need.LIMITS: "limits",
    Need.SIGHTS: "sights",
}


@pytest.mark.parametrize(
    ("name", "case"), [pytest.param(name, case, id=name) for name, cases in FIRES.items() for case in cases]
)
def test_a_rule_says_exactly_this(name: str, case: Fires) -> None:
    make, expected = case
    assert RULES[name].findings(make()) == expected


@pytest.mark.parametrize(
    ("name", "make"), [pytest.param(name, make, id=name) for name, cases in QUIET.items() for make in cases]
)
def test_a_rule_looks_and_says_nothing(name: str, make: Callable[[], Facts]) -> None:
    facts = make()
    assert facts.missing(RULES[name].needs) == ()
    assert RULES[name].findings(facts) == ()


def test_every_rule_is_seen_to_fire_and_seen_to_be_quiet() -> None:
    assert set(FIRES) == set(RULES)
    assert set(QUIET) == set(RULES)
    assert all(expected for cases in FIRES.values() for _, expected in cases)
    assert all(QUIET.values())


def test_of_a_sound_job_no_rule_says_anything() -> None:
    found = review(facts_of())
    assert found.kept == ()
    assert set(found.looked) == set(RULES)


@pytest.mark.parametrize("name", RULES)
def test_a_rule_looks_only_at_what_it_says_it_needs(name: str) -> None:
    rule = RULES[name]
    absent = {field: None for need, field in PARTS.items() if need not in rule.needs}
    for make in (*(make for make, _ in FIRES[name]), *QUIET[name], facts_of):
        rule.findings(replace(make(), **absent))  # type: ignore[arg-type]  # None is allowed for each part


def test_votes_spread_evenly_lose_the_fewest() -> None:
    # Brute force over every way to spread the votes: the best of the worst cases.
    for votes, domains, failing in itertools.product(range(1, 7), range(1, 5), range(1, 4)):
        spreads = itertools.product(range(domains), repeat=votes)
        worst = (
            sum(sorted((spread.count(one) for one in range(domains)), reverse=True)[:failing])
            for spread in spreads
        )
        assert least_lost(votes, domains=domains, failing=failing) == min(worst)


@settings(max_examples=200, deadline=None)
@given(st.lists(st.frozensets(st.sampled_from("abcd"), max_size=4), max_size=5))
def test_members_are_crowded_where_no_choice_gives_each_one_of_its_own(sets: list[frozenset[str]]) -> None:
    takers = {f"m{number}": names for number, names in enumerate(sets)}
    # Brute force over every choice of one each.
    possible = any(len(set(choice)) == len(sets) for choice in itertools.product(*sets))
    found = crowded(takers)
    assert (found == ()) == possible
    if found:
        assert len(frozenset().union(*(takers[member] for member in found))) < len(found)


HOSTS = st.sampled_from([host.name for host in ESTATE.hosts])
POOLS = st.sampled_from([pool.name for pool in ESTATE.pools])


@st.composite
def seats(draw: st.DrawFn, hosts: st.SearchStrategy[str], pools: st.SearchStrategy[str]) -> tuple[Seat, ...]:
    """A seat for each member, anywhere."""
    return tuple(
        Seat(member=seat.member, host=draw(hosts), disks=tuple((disk, draw(pools)) for disk, _ in seat.disks))
        for seat in SEATS
    )


@settings(max_examples=80, deadline=None)
@given(seats(HOSTS, POOLS))
def test_what_members_share_is_what_the_placements_own_checker_sees(given_seats: tuple[Seat, ...]) -> None:
    # The checker shares no code with the review; the design wants members apart by host, rack and pool.
    facts = replace(facts_of(), seats=given_seats)
    problem = facts.get_problem()
    (rules,) = problem.clusters
    asked = replace(
        rules, majority_kinds=("host", "rack")
    )  # the kinds of which the design shall outlive any one
    broken = broken_rules(replace(problem, clusters=(asked,)), given_seats)
    for kind in ("host", "rack", "pool"):
        fires = RULES[f"members-share-{kind}"].findings(facts) != ()
        assert fires == any(sentence.startswith(f"apart:{kind}:") for sentence in broken)
    majority = [one for one in RULES["domain-holds-half"].findings(facts) if one.severity == "stop"]
    assert len(majority) == len([sentence for sentence in broken if sentence.startswith("majority:")])


@settings(max_examples=40, deadline=None)
@given(seats(st.sampled_from(["om-h1", "gone"]), st.sampled_from(["om-store-1", "gone"])))
def test_a_placement_that_names_what_is_gone_is_told_and_stops_no_review(
    given_seats: tuple[Seat, ...],
) -> None:
    found = review(replace(facts_of(), seats=given_seats))
    assert any(one.rule == "placement-broken" for one in found.kept)
