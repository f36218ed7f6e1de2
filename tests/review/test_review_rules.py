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

from staddle.kernel import Finding
from staddle.review.catalogue import all_rules
from staddle.review.facts import Facts, Need
from staddle.review.review import review
from staddle.review.rules.wishes import least_lost
from tests.review.ousemoor import facts_of

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
