"""Who holds a lease: asked by real processes, also from another table of processes (pid_namespaces(7))."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from staddle.jobs.holder import holder_name, is_gone
from tests.platforms.small_disks import skip_unless_root

_SAY = "from staddle.jobs.holder import holder_name; print(holder_name(), flush=True)"


def ask_elsewhere(holder: str) -> str:
    """Whether a process in a namespace of its own calls the holder gone."""
    code = f"from staddle.jobs.holder import is_gone; print(is_gone({holder!r}))"
    command = ["unshare", "--pid", "--fork", "--mount-proc", sys.executable, "-c", code]
    return subprocess.run(command, check=True, capture_output=True, text=True, timeout=60).stdout.strip()


def test_whoever_lives_is_not_gone_and_whoever_ended_is() -> None:
    assert not is_gone(holder_name())
    ended = subprocess.run(
        [sys.executable, "-c", _SAY], check=True, capture_output=True, text=True, timeout=60
    )
    assert is_gone(ended.stdout.strip())


@pytest.mark.needs_root
def test_a_living_holder_is_not_called_gone_from_another_container() -> None:
    skip_unless_root()
    assert ask_elsewhere(holder_name()) == "False"


@pytest.mark.skipif(
    not Path("/proc/self/ns/pid").exists(), reason="this system has no namespaces of processes"
)
def test_a_number_of_another_table_says_nothing() -> None:
    mine = holder_name()
    elsewhere = mine.rpartition(" among ")[0].replace(f"process {os.getpid()} ", "process 999999999 ")
    assert is_gone(f"{elsewhere} among {mine.rpartition(' among ')[2]}")
    assert not is_gone(f"{elsewhere} among 0123456789")
    assert not is_gone(elsewhere)
    assert not is_gone("")
