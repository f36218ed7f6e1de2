"""Accepting a finding: a row at the end of waivers.yaml that means exactly what was typed."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.design.waivers import read_waivers
from staddle.jobs.folder import JobFolder
from staddle.jobs.review import review_job
from staddle.jobs.waive import waive
from staddle.kernel import InputRefused
from tests.cli.demo_job import demo_job

NOW = datetime.now(UTC)
UNTIL = NOW.date() + timedelta(days=20)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobFolder:
    return JobFolder(root=demo_job(tmp_path_factory.mktemp("waive")))


@pytest.fixture(autouse=True)
def _as_before(job: JobFolder) -> object:
    before = job.waivers.read_bytes()
    yield
    job.waivers.write_bytes(before)


def rules(job: JobFolder) -> list[str]:
    return [finding.rule for finding in review_job(job, NOW, verify=False).review.kept]


def test_it_is_accepted_and_what_stood_in_the_file_still_stands(job: JobFolder) -> None:
    before = job.waivers.read_text(encoding="utf-8")
    assert "digest-not-pinned" in rules(job)
    waive(
        job, NOW, rule="digest-not-pinned", where="", by="J. Harrow", reason="pinned on Friday", until=UNTIL
    )
    assert "digest-not-pinned" not in rules(job)
    assert job.waivers.read_text(encoding="utf-8").startswith(before.rstrip("\n") + "\n")
    waived = {one.finding.rule: one for one in review_job(job, NOW, verify=False).review.waived}
    assert (waived["digest-not-pinned"].by, waived["digest-not-pinned"].until) == ("J. Harrow", UNTIL)


@pytest.mark.parametrize("before", ["", "# nothing yet\n", "[]\n"])
def test_it_is_the_first_row_of_an_empty_file(job: JobFolder, before: str) -> None:
    job.waivers.write_text(before, encoding="utf-8")
    waive(job, NOW, rule="digest-not-pinned", where="package", by="J. Harrow", reason="x", until=UNTIL)
    rows = read_waivers(job.waivers.read_text(encoding="utf-8"), where="w", today=NOW.date()).value
    assert [(row.rule, row.where) for row in rows] == [("digest-not-pinned", "package")]


@pytest.mark.parametrize(
    ("changed", "what"),
    [
        ({"rule": "no-such-rule"}, "no finding of no-such-rule stands"),
        ({"where": "levels-9"}, "no finding of digest-not-pinned for levels-9 stands"),
        ({"until": NOW.date() - timedelta(days=1)}, "the waiver's last day, "),
        ({"until": NOW.date() + timedelta(days=400)}, "more than a year ahead"),
        ({"by": "  "}, "by"),
        ({"reason": ""}, "reason"),
        ({"rule": "Not A Rule"}, "rule"),
    ],
)
def test_what_accepts_nothing_is_refused_and_nothing_is_written(
    job: JobFolder, changed: dict[str, object], what: str
) -> None:
    before = job.waivers.read_bytes()
    row = {"rule": "digest-not-pinned", "where": "", "by": "J. Harrow", "reason": "x", "until": UNTIL}
    with pytest.raises(InputRefused) as refused:
        waive(job, NOW, **(row | changed))  # type: ignore[arg-type]  # a table of mixed values
    assert what in refused.value.text()
    assert job.waivers.read_bytes() == before


@settings(max_examples=25)
@given(
    text=st.text(alphabet=st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1).filter(
        str.strip
    )
)
def test_whatever_is_typed_means_itself(job: JobFolder, text: str) -> None:
    before = job.waivers.read_bytes()
    try:
        waive(job, NOW, rule="digest-not-pinned", where="", by="J. Harrow", reason=text, until=UNTIL)
        rows = read_waivers(job.waivers.read_text(encoding="utf-8"), where="w", today=NOW.date()).value
        assert rows[-1].reason == text.strip()
    finally:
        job.waivers.write_bytes(before)


def test_the_file_of_another_job_is_not_touched(job: JobFolder, tmp_path: Path) -> None:
    other = JobFolder(root=demo_job(tmp_path))
    before = other.waivers.read_bytes()
    waive(job, NOW, rule="digest-not-pinned", where="", by="J. Harrow", reason="x", until=UNTIL)
    assert other.waivers.read_bytes() == before
