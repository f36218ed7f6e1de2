"""The review as SARIF and as JUnit XML: what stands in them is what the review found, and nothing that did not look passes."""

import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path, PurePosixPath
from typing import Any
from xml.etree import ElementTree

import jsonschema
import lxml.etree
import pytest

from staddle.design.waivers import Waiver
from staddle.kernel import Finding, Severity
from staddle.review.catalogue import all_rules
from staddle.review.junit import review_junit
from staddle.review.review import Review, review
from staddle.review.sarif import sarif_text
from tests.cli.demo_job import demo_job, staddle
from tests.review.ousemoor import facts_of, facts_without, limits
from tests.review.sarif_schema import SARIF

ROOT = PurePosixPath("/srv/jobs/levels")
AT = datetime(2026, 11, 25, 12, tzinfo=UTC)
LEVELS = {Severity.STOP: "error", Severity.RISK: "warning", Severity.NOTE: "note"}


def found() -> Review:
    """A review with a stop, a waived risk, a note, findings of another room, and rules that could not look."""
    facts = facts_of(
        ("  licence_accepted_by: the contracts office\n", ""),
        ("  size: river\n", ""),
        limits=limits(("size, value: river", "size, value: estuary"), ("value: 4.1 to 4.2", "value: null")),
    )
    strained = Finding(
        rule="guests-exceed-memory", severity=Severity.RISK, what='host "om-h1" is full', where="om-h1"
    )
    waiver = Waiver(
        rule="size-against-limits",
        where="levels-2",
        by="J. Harrow",
        reason="agreed by letter",
        until=date(2026, 12, 31),
    )
    return review(replace(facts, seats=None, estate_findings=(strained,)), (waiver,))


def log_of(one: Review) -> dict[str, Any]:
    log: dict[str, Any] = json.loads(sarif_text(one, root=ROOT, version="0.1.0", refused=True))
    jsonschema.validate(log, SARIF)
    (run,) = log["runs"]
    for result in run["results"]:
        assert run["tool"]["driver"]["rules"][result["ruleIndex"]]["id"] == result["ruleId"]
        # §3.27.10: level is none exactly where kind is not fail; kind is fail where it is not written.
        assert (result["level"] == "none") == (result.get("kind", "fail") != "fail")
        for location in result.get("locations", ()):
            base = location.get("physicalLocation", {}).get("artifactLocation", {}).get("uriBaseId")
            assert base is None or base in run["originalUriBaseIds"]
    return dict(run)


def test_the_review_at_hand_has_something_of_everything() -> None:
    one = found()
    assert {finding.severity for finding in one.kept} == set(Severity)
    assert len(one.waived) == 1
    assert one.not_looked


def test_sarif_tells_every_finding_every_waived_one_and_every_rule_that_did_not_look() -> None:
    one = found()
    results = log_of(one)["results"]
    stands = [(r["ruleId"], r["level"]) for r in results if "kind" not in r and "suppressions" not in r]
    assert stands == [(finding.rule, LEVELS[finding.severity]) for finding in one.kept]
    apart = [r for r in results if "suppressions" in r]
    assert [(r["ruleId"], r["suppressions"]) for r in apart] == [
        (
            "size-against-limits",
            [
                {
                    "kind": "external",
                    "status": "accepted",
                    "justification": "agreed by letter (accepted by J. Harrow until 2026-12-31)",
                }
            ],
        )
    ]
    blind = [(r["ruleId"], r["message"]["text"]) for r in results if r.get("kind") == "notApplicable"]
    assert blind == [(name, f"not looked, so not passed: {why}") for name, why in one.blind()]
    assert len(results) == len(stands) + len(apart) + len(blind)


def test_sarif_knows_every_rule_with_its_help_and_those_of_other_rooms() -> None:
    rules = log_of(found())["tool"]["driver"]["rules"]
    assert [rule["id"] for rule in rules] == [*(one.name for one in all_rules()), "guests-exceed-memory"]
    for rule, one in zip(rules, all_rules(), strict=False):
        assert one.mend in rule["help"]["text"]
        assert one.source in rule["help"]["text"]
        assert rule["defaultConfiguration"]["level"] == LEVELS[one.severity]


@pytest.mark.parametrize(
    ("where", "location"),
    [
        (
            "design.yaml:12:11",
            {
                "physicalLocation": {
                    "artifactLocation": {"uri": "design.yaml", "uriBaseId": "JOBFOLDER"},
                    "region": {"startLine": 12, "startColumn": 11},
                }
            },
        ),
        (
            "placement.yaml",
            {"physicalLocation": {"artifactLocation": {"uri": "placement.yaml", "uriBaseId": "JOBFOLDER"}}},
        ),
        (
            "/srv/jobs/estate of Ousemoor/hosts.csv:3:memory",
            {
                "physicalLocation": {
                    "artifactLocation": {"uri": "file:///srv/jobs/estate%20of%20Ousemoor/hosts.csv"},
                    "region": {"startLine": 3},
                }
            },
        ),
        (
            "/srv/jobs/levels/own tables/hosts.csv:3",
            {
                "physicalLocation": {
                    "artifactLocation": {"uri": "own%20tables/hosts.csv", "uriBaseId": "JOBFOLDER"},
                    "region": {"startLine": 3},
                }
            },
        ),
        # A line inside the package is nothing that an editor could open, nor is a host.
        ("sluicelog.ovf:40", {"logicalLocations": [{"fullyQualifiedName": "sluicelog.ovf:40"}]}),
        ("host om-h1", {"logicalLocations": [{"fullyQualifiedName": "host om-h1"}]}),
        ("", None),
    ],
)
def test_a_place_in_a_file_is_a_physical_location(where: str, location: object) -> None:
    finding = Finding(rule="even-votes", severity=Severity.RISK, what="4 members vote", where=where)
    one = Review(kept=(finding,), waived=(), looked=("even-votes",), not_looked=())
    (result,) = log_of(one)["results"]
    assert result["locations"] == ([] if location is None else [location])


@pytest.mark.parametrize("refuse_at", list(Severity))
def test_junit_fails_what_the_exit_code_refuses_and_passes_nothing_that_did_not_look(
    refuse_at: Severity,
) -> None:
    one = found()
    text = review_junit(one, job="levels", refuse_at=refuse_at, at=AT)
    for root in (ElementTree.fromstring(text), lxml.etree.fromstring(text.encode())):
        cases = {str(case.get("name")): case for case in root.findall("testcase")}
        failed = {name for name, case in cases.items() if case.find("failure") is not None}
        skipped = {name for name, case in cases.items() if case.find("skipped") is not None}
        worse = [finding for finding in one.kept if finding.severity.rank <= refuse_at.rank]
        assert failed == {finding.rule for finding in worse}
        assert skipped == {name for name, _ in one.blind()}  # the waived rule has findings that stand as well
        assert set(cases) == {rule.name for rule in all_rules()} | {"guests-exceed-memory"}
        assert (root.get("name"), root.get("timestamp")) == ("review of levels", "2026-11-25T12:00:00")
        counts = tuple(root.get(key) for key in ("tests", "failures", "errors", "skipped"))
        assert counts == tuple(str(n) for n in (len(cases), len(failed), 0, len(skipped)))
        for finding in one.kept:
            told = cases[finding.rule].find("failure" if finding.rule in failed else "system-out")
            assert told is not None
            assert f"{finding.severity}: {finding.what}\n" in str(told.text)


def test_junit_skips_a_rule_of_which_everything_is_waived() -> None:
    facts = facts_without("limits")
    waiver = Waiver(rule="limits-not-written", by="J. Harrow", reason="a trial", until=date(2026, 12, 31))
    text = review_junit(review(facts, (waiver,)), job="levels", refuse_at=Severity.NOTE, at=AT)
    (case,) = ElementTree.fromstring(text).findall("testcase[@name='limits-not-written']")
    (skipped,) = case
    assert skipped.tag == "skipped"
    assert str(skipped.get("message")).endswith("accepted by J. Harrow until 2026-12-31: a trial")


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's job; nobody changes it."""
    return demo_job(tmp_path_factory.mktemp("shop"))


def test_the_command_prints_each_form_alone_with_the_same_exit_code(job: Path) -> None:
    told = json.loads(staddle("review", "--json", job=job).stdout)["data"]["review"]
    for refuse_at, code in (("stop", 0), ("risk", 1)):
        done = staddle("review", "--sarif", "--refuse-at", refuse_at, job=job)
        log = json.loads(done.stdout)
        jsonschema.validate(log, SARIF)
        (run,) = log["runs"]
        assert (done.returncode, run["invocations"][0]["exitCode"]) == (code, code)
        assert len(run["results"]) == sum(
            len(told[part]) for part in ("kept", "waived", "not_looked", "unsent")
        )
        assert str(job) not in done.stdout
        done = staddle("review", "--junit", "--refuse-at", refuse_at, job=job)
        suite = ElementTree.fromstring(done.stdout)
        assert (done.returncode, suite.get("failures")) == (code, str(code))


def test_sarifs_places_hold_the_value_that_the_finding_is_about(job: Path) -> None:
    (run,) = json.loads(staddle("review", "--sarif", job=job).stdout)["runs"]
    lines = (job / "design.yaml").read_text(encoding="utf-8").splitlines()
    at = {
        result["ruleId"]: result["locations"][0]["physicalLocation"]["region"]
        for result in run["results"]
        if result["ruleId"] in ("zone-reserved", "profile-unproven")
    }
    for rule, value in (("zone-reserved", "ousemoor.example"), ("profile-unproven", "sluicelog")):
        region = at[rule]
        assert lines[region["startLine"] - 1][region["startColumn"] - 1 :] == value


def test_only_one_form_can_be_printed(job: Path) -> None:
    done = staddle("review", "--junit", "--sarif", job=job)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr.startswith("error: only one of --json, --sarif and --junit can be printed at a time\n")
