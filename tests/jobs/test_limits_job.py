"""The limits of a job from its folder and from the command line."""

import json
import shutil
from pathlib import Path

import pytest

from staddle.cli.main import run
from staddle.jobs.folder import JobFolder
from staddle.jobs.limits import limits_in, look_at_limits, start_limits
from staddle.kernel import InputRefused, NotAllowed

DEMO = Path(__file__).parents[2] / "demo" / "levels"


@pytest.fixture
def job(tmp_path: Path) -> JobFolder:
    """The demo's job without its package."""
    shutil.copytree(DEMO, tmp_path / "levels")
    return JobFolder(root=tmp_path / "levels")


def test_the_demo_knows_all_but_one(job: JobFolder) -> None:
    report = look_at_limits(job)
    assert [what for what, _, _ in report.unknown] == ["system-type"]
    # The maker can be asked before the package is there.
    assert report.form.startswith("What we must know about the appliance\n")


def test_a_file_is_begun_once_and_never_written_over(job: JobFolder) -> None:
    with pytest.raises(NotAllowed):
        start_limits(job)
    job.limits.unlink()
    assert limits_in(job) is None
    assert start_limits(job) == "limits.yaml"
    assert len(look_at_limits(job).unknown) == 11


def test_bytes_that_are_no_text_are_told(job: JobFolder) -> None:
    job.limits.write_bytes(b"- what: size\n  note: \xff\n")
    with pytest.raises(InputRefused, match=r"byte 22 of the file is not UTF-8"):
        limits_in(job)


def test_the_command_tells_each_value_with_its_paper(
    job: JobFolder, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "140")
    assert run(["limits", "--job", str(job.root)]) == 0
    told = [line.split("  ") for line in capsys.readouterr().out.splitlines()]
    cells = [[cell.strip() for cell in line if cell.strip()] for line in told]
    assert ["members-most", "9", "all", "Sluicelog 4.2 planning guide, page 7", "2026-09-14"] in cells


def test_the_command_says_in_one_document_what_it_did(
    job: JobFolder, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["limits", "--json", "--job", str(job.root)]
    assert run(words) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["outcome"], told["data"]["unknown"][0][0]) == ("read", "system-type")
    assert told["data"]["limits"]["rows"][0]["value"] == {"name": "kvm", "first": [7], "last": [8, 2]}
    job.limits.unlink()
    assert run(words) == 0
    assert json.loads(capsys.readouterr().out)["outcome"] == "no file"
    assert run([*words, "--start"]) == 0
    assert json.loads(capsys.readouterr().out)["data"] == {"file": "limits.yaml"}
    assert run([*words, "--start"]) == 1
