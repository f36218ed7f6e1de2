"""The program alone: the overview of a job folder, how to begin elsewhere, and nothing written by either."""

import json
import re
from pathlib import Path

import pytest

from staddle.cli import standing
from staddle.cli.screen import PURPOSE
from tests.cli.demo_job import demo_job, staddle
from tests.cli.test_cli_commands import PAGE, outcomes_below, outcomes_in_code
from tests.jobs.test_standing import contents


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's job; nobody changes it."""
    return demo_job(tmp_path_factory.mktemp("shop"))


def test_alone_in_a_job_folder_it_tells_where_the_job_stands(job: Path) -> None:
    before = contents(job.parent)
    done = staddle(cwd=job)
    assert (done.returncode, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "levels: Not ready: no placement is settled."
    assert re.fullmatch(r"estate surveyed \S+ by .*: 3 days old, limit 30 days", lines[1])
    assert lines[3].startswith("risk  digest-not-pinned: ")
    assert lines[-1] == "next: staddle place --settle    (the members need hosts and pools)"
    assert contents(job.parent) == before


def test_the_next_command_is_whole_wherever_it_is_typed(job: Path, tmp_path: Path) -> None:
    named = staddle("--job", str(job), cwd=tmp_path)
    assert f"next: staddle place --settle --job {job}    (" in named.stdout
    assert list(tmp_path.iterdir()) == []


def test_the_document_holds_the_same(job: Path) -> None:
    told = json.loads(staddle("--json", cwd=job).stdout)
    assert (told["command"], told["outcome"]) == ("standing", "told")
    data = told["data"]
    assert set(data) == {"job", "sentence", "worst", "findings", "not_looked", "faults", "survey", "next"}
    assert (data["next"]["command"], len(data["worst"])) == ("staddle place --settle", 3)


def test_elsewhere_it_tells_how_to_begin(tmp_path: Path) -> None:
    done = staddle(cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert PURPOSE[1:] in done.stdout
    assert "staddle begin DIR" in done.stdout
    assert json.loads(staddle("--json", cwd=tmp_path).stdout)["outcome"] == "no job"
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_was_named_and_is_none_is_refused(tmp_path: Path) -> None:
    done = staddle("--job", "nowhere", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("error: there is no design.yaml here\n")


def test_a_job_that_cannot_be_read_ends_with_one_and_its_first_faults(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    design = job / "design.yaml"
    text = design.read_text(encoding="utf-8")
    for key in ("owner", "engineer", "change", "cluster"):
        text = text.replace(f"  {key}: ", f"  x{key}: ", 1)
    design.write_text(text, encoding="utf-8")
    done = staddle(cwd=job)
    assert (done.returncode, done.stderr) == (1, "")
    assert done.stdout.count("  where: design.yaml:") == 3
    assert (
        "and 2 more: staddle review\n" in done.stdout
    )  # four unknown keys, and the cluster's name is missing
    assert json.loads(staddle("--json", cwd=job).stdout)["outcome"] == "not readable"


def test_a_wrong_option_ends_with_two(tmp_path: Path) -> None:
    done = staddle("--jsn", cwd=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")


def test_the_page_of_json_output_has_its_outcomes() -> None:
    assert set(outcomes_below(PAGE, "## Outcomes of no command\n")) == outcomes_in_code(standing)
