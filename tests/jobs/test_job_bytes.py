"""Files of a job that are no text: told with their place, whichever command reads them."""

from pathlib import Path

import pytest

from staddle.cli.main import run
from staddle.jobs.folder import JobFolder
from tests.cli.demo_job import demo_job


@pytest.mark.parametrize(
    ("file", "arguments"),
    [
        ("design.yaml", ("place",)),
        ("design.yaml", ("journal",)),
        ("design.yaml", ("limits",)),
        ("placement.yaml", ("place",)),
        ("waivers.yaml", ("review", "--no-verify")),
        ("requests.yaml", ("requests",)),
        ("limits.yaml", ("review", "--no-verify")),
    ],
)
def test_bytes_that_are_no_text_are_told_with_their_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], file: str, arguments: tuple[str, ...]
) -> None:
    folder = JobFolder(root=demo_job(tmp_path))
    path = folder.root / file
    before = path.read_bytes() if path.exists() else b""
    path.write_bytes(before + b"# gr\xfcn\n")  # Latin-1
    line = before.count(b"\n") + 1
    assert run([*arguments, "--job", str(folder.root)]) == 1
    told = capsys.readouterr().err
    assert f"byte {len(before) + 5} of the file is not UTF-8\n  where: {file}:{line}\n" in told


def test_a_profile_that_is_no_text_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = JobFolder(root=demo_job(tmp_path))
    text = folder.design.read_text(encoding="utf-8")
    assert "profile: sluicelog" in text
    folder.design.write_text(text.replace("profile: sluicelog", "profile: own.yaml"), encoding="utf-8")
    (folder.root / "own.yaml").write_bytes(b"\xff")
    assert run(["place", "--job", str(folder.root)]) == 1
    assert "byte 1 of the file is not UTF-8\n  where: own.yaml:1\n" in capsys.readouterr().err
