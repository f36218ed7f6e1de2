"""Files written whole or not at all: by two writers at once, on a full disk, and with the rights that were asked for."""

import os
import resource
import stat
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from staddle.kernel.wholefile import leftovers, replace_file

MANY = 40


def test_of_two_writers_at_once_one_is_wholly_the_last(tmp_path: Path) -> None:
    path = tmp_path / "paper"
    contents = [bytes([65 + number]) * 50_000 for number in range(8)]
    with ThreadPoolExecutor(8) as writers:
        for done in [
            writers.submit(replace_file, path, content) for _ in range(MANY) for content in contents
        ]:
            done.result()
    assert path.read_bytes() in contents
    assert [entry.name for entry in tmp_path.iterdir()] == ["paper"]


@pytest.mark.parametrize(("mode", "umask", "seen"), [(0o600, 0o000, 0o600), (0o666, 0o027, 0o640)])
def test_the_rights_are_as_asked_from_the_first_byte(
    tmp_path: Path, mode: int, umask: int, seen: int
) -> None:
    path = tmp_path / "paper"
    path.write_text("old")
    path.chmod(0o644)
    before = os.umask(umask)
    try:
        replace_file(path, b"new", mode=mode)
    finally:
        os.umask(before)
    assert (stat.S_IMODE(path.stat().st_mode), path.read_bytes()) == (seen, b"new")


FULL = """
import resource, signal, sys
from pathlib import Path
from staddle.kernel.wholefile import replace_file
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
try:
    replace_file(Path(sys.argv[1]), bytes(5000))
except OSError as exc:
    print("refused", exc.errno)
"""


def test_what_does_not_fit_changes_nothing(tmp_path: Path) -> None:
    """A limit on a file's size (setrlimit(2)) stands for the full disk: the write itself is refused half way."""
    assert resource.getrlimit(resource.RLIMIT_FSIZE)
    path = tmp_path / "paper"
    path.write_text("old")
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(path)], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.startswith("refused"), done.stderr
    assert path.read_text() == "old"
    assert leftovers(path) == ()
    assert [entry.name for entry in tmp_path.iterdir()] == ["paper"]


def test_leftovers_are_those_of_this_file(tmp_path: Path) -> None:
    (tmp_path / ".paper.0123456789abcdef.new").touch()
    (tmp_path / ".paper.txt.0123456789abcdef.new").touch()
    assert [place.name for place in leftovers(tmp_path / "paper")] == [".paper.0123456789abcdef.new"]
