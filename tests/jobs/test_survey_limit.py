"""The limit on the age of the survey: who sets it, who refuses past it, who only says so, and that the age is everywhere."""

import json
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from staddle.cli.main import run
from staddle.estate.survey import SurveyStanding
from staddle.estate.tables import survey_estate
from staddle.jobs.estate import look_at_estate
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import gather
from staddle.jobs.place import place
from staddle.jobs.requests import make_requests, requests_of
from staddle.jobs.review import review_job
from staddle.jobs.rollout import open_rollout
from staddle.jobs.rollouts import REHEARSAL, ROLLOUT
from staddle.jobs.sheets import make_sheets
from staddle.jobs.standing import standing_of
from staddle.kernel import NotAllowed, Severity, SystemRandom
from tests.cli.demo_job import SURVEYED, demo_job, settle

SURVEY_DAY = datetime(SURVEYED.year, SURVEYED.month, SURVEYED.day, 12, tzinfo=UTC)
AT_LIMIT, PAST = (SURVEY_DAY + timedelta(days=days) for days in (30, 31))


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """A clock that stands still."""

    at: datetime

    def now(self) -> datetime:
        return self.at

    async def sleep(self, seconds: float) -> None:
        raise AssertionError(f"nobody waits {seconds} s here")


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder above the demo's job, placed and settled; never changed by a test."""
    root = tmp_path_factory.mktemp("shop")
    settle(demo_job(root))
    return root


@pytest.fixture
def job(settled: Path, tmp_path: Path) -> JobFolder:
    """A copy that a test may spoil."""
    shutil.copytree(settled, tmp_path / "shop")
    folder = JobFolder(root=tmp_path / "shop" / "levels")
    folder.make()  # with the rights that its private part must have
    return folder


def contents(job: JobFolder) -> dict[Path, bytes]:
    """Every file below, with what is in it."""
    return {path: path.read_bytes() for path in job.root.rglob("*") if path.is_file()}


def rollout(purpose: str) -> Callable[[JobFolder, datetime], object]:
    def opened(job: JobFolder, now: datetime) -> object:
        found = open_rollout(
            job, purpose, clock=Still(at=now), random=SystemRandom(), actor="a person", pin=False
        )
        found.store.close()
        return found

    return opened


ACTING: dict[str, Callable[[JobFolder, datetime], object]] = {
    "place --settle": lambda job, now: place(job, now, settling=True),
    "sheets": make_sheets,
    "requests": make_requests,
    "rollout": rollout(ROLLOUT),
}


@pytest.mark.parametrize("command", ACTING)
def test_what_is_acted_on_is_refused_past_the_limit(job: JobFolder, command: str) -> None:
    before = contents(job)
    with pytest.raises(NotAllowed) as caught:
        ACTING[command](job, PAST)
    (fault,) = [fault for fault in caught.value.faults if "the survey of" in fault.what]
    assert fault.what.endswith(f"is 31 days old ({SURVEYED}), the limit is 30 days")
    assert fault.where.endswith("survey.yaml")
    assert fault.why
    assert "survey_limit in design.yaml" in fault.mend
    after = contents(job)
    assert {path: content for path, content in after.items() if "journal" not in path.name} == before


@pytest.mark.parametrize("command", [name for name in ACTING if name != "rollout"])
def test_on_the_last_day_it_is_done(job: JobFolder, command: str) -> None:
    ACTING[command](job, AT_LIMIT)


def test_a_rehearsal_is_not_refused(job: JobFolder) -> None:
    rollout(REHEARSAL)(job, PAST)


def test_the_others_tell_a_finding_that_stops(job: JobFolder) -> None:
    estate = look_at_estate(job.root.parent / "estate", PAST)
    overview = standing_of(job.root, PAST)
    assert overview is not None
    told = {
        "estate": estate.findings,
        "review": review_job(job, PAST, verify=False).review.kept,
        "place": place(job, PAST).findings,
        "overview": overview.worst,
    }
    for where, findings in told.items():
        severities = [finding.severity for finding in findings if finding.rule == "survey-old"]
        assert severities == [Severity.STOP], where


def test_the_design_sets_the_limit_else_the_estate_does(job: JobFolder) -> None:
    survey = job.root.parent / "estate" / "survey.yaml"
    survey.write_text(survey.read_text(encoding="utf-8") + "age_limit: 40 d\n", encoding="utf-8")
    assert survey_estate(survey.parent).age_limit_days == 40
    make_sheets(job, PAST)
    design = job.design.read_text(encoding="utf-8")
    job.design.write_text(re.sub(r"(?m)^job:.*\n", r"\g<0>  survey_limit: 2 d\n", design), encoding="utf-8")
    assert gather(job, PAST).survey(PAST).limit_days == 2
    with pytest.raises(NotAllowed, match="the limit is 2 days"):
        make_sheets(job, SURVEY_DAY + timedelta(days=3))


def test_a_waiver_accepts_it_by_name_until_its_end(job: JobFolder) -> None:
    with job.waivers.open("a", encoding="utf-8") as waivers:
        waivers.write(
            "\n- rule: survey-old\n  by: W. Marram, estate office\n  reason: nothing was moved since\n"
            f"  until: {(PAST + timedelta(days=1)).date()}\n"
        )
    make_sheets(job, PAST)
    with pytest.raises(NotAllowed, match="the limit is 30 days"):
        make_sheets(job, PAST + timedelta(days=2))


def test_the_age_stands_on_the_papers(job: JobFolder) -> None:
    told = f"surveyed {SURVEYED} by W. Marram, estate office: 30 days old, limit 30 days"
    make_sheets(job, AT_LIMIT)
    make_requests(job, AT_LIMIT)
    papers = ["levels-1.txt", "answers.html", "requests.txt", "requests.html"]
    assert [told in (job.sheets / name).read_text(encoding="utf-8") for name in papers] == [True] * 4
    assert requests_of(job, PAST).survey.endswith("31 days old, PAST THE limit 30 days")


@pytest.mark.parametrize(
    ("words", "said"),
    [((), "out"), (("review", "--no-verify"), "out"), (("sheets",), "out"), (("requests",), "out"), (("place",), "out"),
     (("rehearse", "--dry-run"), "err"), (("dossier",), "out")],
)  # fmt: skip
def test_every_command_tells_the_age(
    job: JobFolder, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], said: str
) -> None:
    run([*words, "--job", str(job.root)])
    captured = capsys.readouterr()
    assert f"estate surveyed {SURVEYED} by W. Marram" in getattr(captured, said).replace("\n", " ")
    run([*words, "--job", str(job.root), "--json"])
    survey = json.loads(capsys.readouterr().out)["data"]["survey"]
    assert (survey["surveyed"], survey["limit_days"]) == (SURVEYED.isoformat(), 30)


def test_a_rehearsal_warns(job: JobFolder, capsys: pytest.CaptureFixture[str]) -> None:
    design = job.design.read_text(encoding="utf-8")
    job.design.write_text(re.sub(r"(?m)^job:.*\n", r"\g<0>  survey_limit: 1 d\n", design), encoding="utf-8")
    assert run(["rehearse", "--dry-run", "--job", str(job.root)]) == 0
    assert "warning: the survey of" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("age", "text"),
    [
        (0, "made the same day, limit 1 day"),
        (1, "1 day old, limit 1 day"),
        (2, "2 days old, PAST THE limit 1 day"),
    ],
)
def test_the_sentence(age: int, text: str) -> None:
    standing = SurveyStanding(surveyed=SURVEYED, surveyed_by="a person", age_days=age, limit_days=1)
    assert standing.sentence() == f"surveyed {SURVEYED} by a person: {text}"
