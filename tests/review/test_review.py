"""The review as a whole: what is kept, waived, not looked; how it ends; the page of rules."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import msgspec
import pytest

from staddle.design.waivers import Waiver
from staddle.kernel import Fault, Finding, OurFault, Severity, canonical_json
from staddle.review.catalogue import all_rules
from staddle.review.facts import Facts, Need
from staddle.review.pages import rules_page
from staddle.review.review import Review, refuses, review, review_with
from staddle.review.rule import PRACTICE, Found, Rule, found_fault, rule
from tests.review.ousemoor import SEATS, facts_of, facts_without

RULES_PAGE = Path(__file__).parents[2] / "docs" / "rules.md"


def rule_of(name: str, *whats: str, severity: Severity = Severity.RISK, needs: tuple[Need, ...] = ()) -> Rule:
    """A rule that finds these things."""

    @rule(name=name, severity=severity, title="t", reason="r", mend="m", needs=needs)
    def made(facts: Facts) -> Iterator[Found]:
        yield from (Found(what=what, where="here") for what in whats)

    return made


def waiver(rule_name: str, until: date = date(2027, 1, 1), where: str = "") -> Waiver:
    return Waiver(rule=rule_name, where=where, by="A. Sluys", reason="agreed", until=until)


def finding(name: str, severity: Severity = Severity.RISK, what: str = "x") -> Finding:
    return Finding(rule=name, severity=severity, what=what, where="here", why="r", mend="m", source=PRACTICE)


def test_findings_stand_worst_first() -> None:
    rules = (
        rule_of("a-note", "x", severity=Severity.NOTE),
        rule_of("b-risk", "x"),
        rule_of("c-stop", "x", severity=Severity.STOP),
    )
    found = review_with(rules, facts_of())
    assert found == Review(
        kept=(
            finding("c-stop", Severity.STOP),
            finding("b-risk"),
            finding("a-note", Severity.NOTE),
        ),
        waived=(),
        looked=("a-note", "b-risk", "c-stop"),
        not_looked=(),
    )
    assert [found.count(severity) for severity in Severity] == [1, 1, 1]


def test_the_same_finding_told_twice_stands_once() -> None:
    assert review_with((rule_of("a", "x", "x"),), facts_of()).kept == (finding("a"),)


def test_a_rule_without_what_it_needs_is_listed_with_the_reason_and_not_as_looked() -> None:
    rules = (rule_of("a", "x", needs=(Need.SEATS, Need.ESTATE)), rule_of("b", needs=(Need.ESTATE,)))
    found = review_with(rules, facts_without("estate", "seats"))
    assert found.looked == ()
    assert found.kept == ()
    assert found.not_looked == (
        ("a", "no placement is settled; the estate was not read"),
        ("b", "the estate was not read"),
    )


def test_nothing_but_a_design_is_reviewed_without_a_fault() -> None:
    alone = facts_without(
        "estate",
        "package",
        "verification",
        "profile",
        "problem",
        "seats",
        "addresses",
        "answers",
        "limits",
        "sights",
    )
    found = review(alone)
    # That nobody looked up what the maker supports is the one thing that the absence of a file tells.
    assert [one.rule for one in found.kept] == ["limits-not-written"]
    assert {*found.looked, *(name for name, _ in found.blind())} == {one.name for one in all_rules()}
    assert {name for name, _ in found.blind()} == {one.name for one in all_rules() if one.needs}
    assert set(found.unsent) == {one.name for one in all_rules() if Need.SIGHTS in one.needs}


def test_a_waiver_of_a_live_rule_is_not_idle_while_no_probe_was_sent() -> None:
    quiet = replace(facts_of(), sights=None)
    assert review(quiet, (waiver("address-in-use"),)).kept == ()
    assert [one.rule for one in review(facts_of(), (waiver("address-in-use"),)).kept] != []
    # And none of these rules keeps a misspelt name from being told.
    assert [one.rule for one in review(quiet, (waiver("adress-in-use"),)).kept] != []


def test_a_waiver_sets_a_finding_apart_until_its_last_day() -> None:
    rules = (rule_of("a", "x"),)
    on_last_day = review_with(rules, facts_of(), (waiver("a", until=date(2026, 11, 25)),))
    assert on_last_day.kept == ()
    assert [(one.finding, one.by) for one in on_last_day.waived] == [(finding("a"), "A. Sluys")]
    a_day_later = review_with(rules, facts_of(), (waiver("a", until=date(2026, 11, 24)),))
    assert [one.rule for one in a_day_later.kept] == ["a", "waiver-past-its-end"]
    assert a_day_later.waived == ()


def test_a_waiver_that_meets_nothing_is_a_note() -> None:
    found = review_with((rule_of("a"),), facts_of(), (waiver("a"), waiver("no-such-rule")))
    assert [one.what for one in found.kept] == [
        "the waiver of a by A. Sluys meets no finding",
        "the waiver of no-such-rule by A. Sluys meets no finding",
    ]


def test_nothing_is_told_of_a_waiver_whose_rule_could_not_look() -> None:
    # Another room's finding ("no-manifest") may come as soon as the package can be verified.
    rules = (rule_of("a", needs=(Need.VERIFICATION,)), rule_of("b"))
    found = review_with(
        rules, facts_without("verification"), (waiver("a"), waiver("b"), waiver("no-manifest"))
    )
    assert [one.what for one in found.kept] == ["the waiver of b by A. Sluys meets no finding"]


def test_a_waiver_past_its_end_is_told_even_if_its_rule_could_not_look() -> None:
    found = review_with(
        (rule_of("a", needs=(Need.SEATS,)),), facts_without("seats"), (waiver("a", until=date(2026, 1, 1)),)
    )
    assert [one.rule for one in found.kept] == ["waiver-past-its-end"]


@pytest.mark.parametrize(
    ("worst", "refusing"),
    [
        (Severity.STOP, [Severity.STOP, Severity.RISK, Severity.NOTE]),
        (Severity.RISK, [Severity.RISK, Severity.NOTE]),
        (Severity.NOTE, [Severity.NOTE]),
        (None, []),
    ],
)
def test_what_is_as_bad_or_worse_is_refused(worst: Severity | None, refusing: list[Severity]) -> None:
    found = review_with(
        (rule_of("a", *(["x"] if worst else []), severity=worst or Severity.NOTE),), facts_of()
    )
    assert [severity for severity in Severity if refuses(found.kept, severity)] == refusing


def test_a_waived_finding_refuses_nothing() -> None:
    found = review_with((rule_of("a", "x", severity=Severity.STOP),), facts_of(), (waiver("a"),))
    assert not refuses(found.kept, Severity.NOTE)


def test_a_case_may_differ_from_its_rule() -> None:
    @rule(name="a", severity=Severity.NOTE, title="t", reason="r", mend="m", source="RFC 0")
    def made(facts: Facts) -> Iterator[Found]:
        yield Found(what="x", why="why here", mend="mend here", severity=Severity.STOP)

    assert made.findings(facts_of()) == (
        Finding(rule="a", severity=Severity.STOP, what="x", why="why here", mend="mend here", source="RFC 0"),
    )


def test_an_error_of_another_room_keeps_its_four_parts() -> None:
    fault = Fault(what="a", where="b", why="c", mend="d")
    assert found_fault(fault) == Found(what="a", where="b", why="c", mend="d")


@pytest.mark.parametrize("change", [{"name": "Even votes"}, {"title": ""}, {"mend": ""}, {"source": ""}])
def test_a_rule_without_its_parts_cannot_be_made(change: dict[str, str]) -> None:
    parts = {"name": "a", "title": "t", "reason": "r", "mend": "m", "source": "s"} | change
    with pytest.raises(OurFault, match="lacks a proper name, title, reason, mend or source"):
        rule(severity=Severity.NOTE, **parts)  # type: ignore[arg-type]  # the test's own values


def test_a_rule_that_looks_at_what_it_does_not_need_is_our_fault() -> None:
    with pytest.raises(OurFault, match="a rule looked although no placement is settled"):
        facts_without("seats").get_seats()


def test_names_are_unique_and_sources_are_told() -> None:
    names = [one.name for one in all_rules()]
    assert len(names) == len(set(names))
    assert len(names) >= 24
    assert all(one.source for one in all_rules())


def test_a_review_is_read_back_from_its_json() -> None:
    found = review(facts_of(seats=(SEATS[0], SEATS[0], SEATS[2])), (waiver("no-owner"),))
    assert found.kept
    assert msgspec.json.decode(canonical_json(found), type=Review) == found


def test_the_page_of_rules_is_the_one_that_the_code_makes() -> None:
    assert RULES_PAGE.read_text(encoding="utf-8") == rules_page(), (
        "write it again: python -m staddle.review.pages > docs/rules.md"
    )
