"""The review of the demo's whole job, from its folder and from the command line."""

import json
import shutil
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from demo.ousemoor_estate import write_demo_estate
from demo.sluicelog_package import build_package
from staddle.cli.main import run
from staddle.jobs.folder import JobFolder, find_job
from staddle.jobs.place import place, settle
from staddle.jobs.review import ReviewReport, review_job
from staddle.kernel import InputRefused, Severity
from staddle.kernel.cautions import POINTER

DEMO = Path(__file__).parents[2] / "demo" / "levels"
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
BLIND_UNPLACED = {
    "members-share-host",
    "members-share-rack",
    "members-share-pool",
    "deputy-beside-leader",
    "domain-holds-half",
    "placement-broken",
    "placement-not-kept",
    "platform-against-limits",
    "processor-against-limits",
    "host-memory-full",
    "many-vcpus-per-core",
    "member-fills-numa-node",
    "cpu-levels-differ",
    "pool-below-its-floor",
    "pool-nearly-full",
    "promise-above-capacity",
}


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder above the demo's job, placed and settled; never changed by a test."""
    root = tmp_path_factory.mktemp("ousemoor")
    shutil.copytree(DEMO, root / "levels")
    build_package(root)
    (root / "estate").mkdir()
    write_demo_estate(root / "estate", surveyed=date(2026, 11, 20))
    report = place(find_job(root / "levels"), NOW)
    settle(report, by="R. Fenwold", on=NOW.date())
    return root


@pytest.fixture
def job(settled: Path, tmp_path: Path) -> JobFolder:
    """A copy of it that a test may spoil."""
    shutil.copytree(settled, tmp_path / "ousemoor")
    return find_job(tmp_path / "ousemoor" / "levels")


def spoil(path: Path, old: str, new: str) -> None:
    """Change one piece of a text file that is there exactly once."""
    text = path.read_text(encoding="utf-8")
    assert text.count(old) == 1
    path.write_text(text.replace(old, new), encoding="utf-8")


def told(report: ReviewReport) -> list[tuple[str, str]]:
    """Severity and rule of what stands, in the order of the report."""
    return [(finding.severity.value, finding.rule) for finding in report.review.kept]


def test_the_demo_has_no_stop_and_every_rule_looked(job: JobFolder) -> None:
    report = review_job(job, NOW)
    assert told(report) == [
        ("risk", "digest-not-pinned"),
        ("note", "cpu-levels-differ"),
        ("note", "limit-unknown"),
        ("note", "not-signed"),
        ("note", "profile-unproven"),
        ("note", "zone-reserved"),
    ]
    assert report.review.not_looked == ()
    assert (report.survey.age_days, report.survey.limit_days) == (5, 30)


def test_the_demos_waivers_each_meet_something(job: JobFolder) -> None:
    waived = [(one.finding.rule, one.by, one.until.isoformat()) for one in review_job(job, NOW).review.waived]
    assert waived == [
        ("documentation-address", "T. Sedgeley, network office", "2027-06-30"),
        ("documentation-address", "T. Sedgeley, network office", "2027-06-30"),
        ("domain-holds-half", "J. Harrow, duty engineer", "2027-06-30"),
    ]


def test_without_waivers_the_findings_stand(job: JobFolder) -> None:
    job.waivers.unlink()
    report = review_job(job, NOW)
    assert report.review.waived == ()
    assert ("risk", "documentation-address") in told(report)


def test_a_waiver_holds_on_its_last_day_and_not_on_the_next(job: JobFolder) -> None:
    # design.yaml's windows are over by then, and the survey is old: only the waivers are looked at.
    last = review_job(job, datetime(2027, 6, 30, 23, 59, tzinfo=UTC))
    after = review_job(job, datetime(2027, 7, 1, 0, 0, tzinfo=UTC))
    assert len(last.review.waived) == 3
    assert after.review.waived == ()
    ended = [finding for finding in after.review.kept if finding.rule == "waiver-past-its-end"]
    assert [finding.severity for finding in ended] == [Severity.RISK, Severity.RISK]


def test_a_damaged_package_stops(job: JobFolder) -> None:
    path = job.root.parent / "sluicelog-4.2.0.ova"
    content = bytearray(path.read_bytes())
    content[-20480] ^= 1  # within the last disk file, before the archive's closing blocks of zeros
    path.write_bytes(content)
    report = review_job(job, NOW)
    stops = [finding for finding in report.review.kept if finding.severity is Severity.STOP]
    assert [(finding.rule, finding.what, finding.where) for finding in stops] == [
        (
            "package-not-intact",
            'the file "sluicelog-4.2.0-data.img" is not the one that the manifest describes',
            "sluicelog-4.2.0.mf",
        )
    ]
    assert {name for name, _ in report.review.not_looked} == {"package-verification", "digest-differs"}


def test_without_verifying_what_needs_it_did_not_look(job: JobFolder) -> None:
    report = review_job(job, NOW, verify=False)
    why = "the package's files were not verified"
    assert set(report.review.not_looked) == {("package-verification", why), ("digest-differs", why)}


def test_without_a_placement_what_needs_it_did_not_look(job: JobFolder) -> None:
    job.placement.unlink()
    report = review_job(job, NOW)
    assert set(report.review.not_looked) == {(name, "no placement is settled") for name in BLIND_UNPLACED}
    assert not BLIND_UNPLACED & set(report.review.looked)


def test_a_placement_that_no_longer_holds_stops(job: JobFolder) -> None:
    spoil(job.design, "{name: levels-3, site: Ousemoor}", "{name: levels-3, site: Tollgate}")
    assert ("stop", "placement-broken") in told(review_job(job, NOW))


def test_addresses_that_cannot_be_planned_stop_with_their_place(job: JobFolder) -> None:
    spoil(job.design, "first: 198.51.100.61", "first: 198.51.100.200")  # outside 198.51.100.0/25
    report = review_job(job, NOW)
    stops = [finding for finding in report.review.kept if finding.severity is Severity.STOP]
    assert {finding.rule for finding in stops} == {"addresses-not-planned"}
    assert all(finding.where.startswith("design.yaml:51:") for finding in stops)
    assert (
        "open-question",
        "the addresses are not planned; the package's questions are not answered yet",
    ) not in (report.review.not_looked)
    assert ("open-question", "the package's questions are not answered yet") in report.review.not_looked


def test_a_question_of_placement_that_cannot_be_asked_stops_once(job: JobFolder) -> None:
    spoil(job.design, "snapshot_percent: 15", "disks: [{disk: third}]")
    report = review_job(job, NOW)
    stops = [
        (finding.rule, finding.what) for finding in report.review.kept if finding.severity is Severity.STOP
    ]
    assert stops == [("placement-not-askable", 'the package has no disk "third"')]


def test_an_answer_that_the_package_does_not_allow_stops(job: JobFolder) -> None:
    spoil(
        job.design,
        "  size: river\n",
        "  size: river\n  answers: [{property: sluicelog.log_level, value: loud}]\n",
    )
    assert ("stop", "answer-not-allowed") in told(review_job(job, NOW))


def test_the_survey_ages_with_the_day_of_the_review(job: JobFolder) -> None:
    # Surveyed on 20 November: 30 days later it is at the limit, a day after that beyond it.
    at_limit = review_job(job, datetime(2026, 12, 20, tzinfo=UTC))
    beyond = review_job(job, datetime(2026, 12, 21, tzinfo=UTC))
    assert ("stop", "survey-old") not in told(at_limit)
    assert ("stop", "survey-old") in told(beyond)
    spoil(job.design, "job:\n", "job:\n  survey_limit: 4 d\n")
    assert ("stop", "survey-old") in told(review_job(job, NOW))
    before = review_job(job, datetime(2026, 11, 19, tzinfo=UTC))
    assert ("stop", "survey-ahead") in told(before)


def test_faulty_waivers_are_refused_with_their_place(job: JobFolder) -> None:
    spoil(job.waivers, "  by: J. Harrow, duty engineer\n", "")
    with pytest.raises(InputRefused, match=r"waivers\.yaml:7:"):
        review_job(job, NOW)


def test_a_review_changes_no_file_of_the_job(job: JobFolder) -> None:
    def contents() -> dict[str, bytes]:
        return {str(path): path.read_bytes() for path in job.root.rglob("*") if path.is_file()}

    before = contents()
    review_job(job, NOW)
    assert contents() == before


def surveyed_today(job: JobFolder) -> None:
    """What keeps the command's own clock from mattering: a survey of today, and no waivers that could end."""
    spoil(job.root.parent / "estate" / "survey.yaml", "2026-11-20", datetime.now(UTC).date().isoformat())
    job.waivers.unlink()


def test_the_command_ends_with_1_at_and_above_what_it_shall_refuse(
    job: JobFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    surveyed_today(job)
    arguments = ["review", "--job", str(job.root)]
    assert run(arguments) == 0
    said = capsys.readouterr()
    assert said.out.startswith("levels: no stops, ")
    assert said.err.splitlines()[-1] == POINTER
    assert "not looked" not in said.out
    # The digest is not pinned: a risk, whatever the day.
    assert run([*arguments, "--refuse-at", "risk"]) == 1
    assert capsys.readouterr().out.startswith("levels: refused at risk: no stops, ")


def test_the_command_tells_findings_waivers_and_what_did_not_look(
    job: JobFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    job.placement.unlink()
    surveyed_today(job)
    assert run(["review", "--job", str(job.root)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].endswith("; next: staddle place")
    assert lines[1].endswith("by W. Marram, estate office: made the same day, limit 30 days")
    at = lines.index("risk  digest-not-pinned: package.sha256 is empty for ../sluicelog-4.2.0.ova")
    assert lines[at + 1] == "        where: design.yaml:17:9"
    assert lines[at + 2].startswith("        why:   another site")
    assert lines[at + 3].startswith("        try:   compare it with the maker's and write sha256: ")
    last = lines[lines.index("not looked, so not passed") + 1]
    assert last.startswith("  no placement is settled: ")
    assert set(last.partition(": ")[2].split(", ")) == BLIND_UNPLACED


def test_the_command_prints_one_json_document(job: JobFolder, capsys: pytest.CaptureFixture[str]) -> None:
    surveyed_today(job)
    assert run(["review", "--json", "--refuse-at", "note", "--job", str(job.root)]) == 1
    document = json.loads(capsys.readouterr().out)
    assert (document["command"], document["outcome"]) == ("review", "refused")
    assert document["data"]["refuse_at"] == "note"
    assert {finding["rule"] for finding in document["data"]["review"]["kept"]} >= {"digest-not-pinned"}
