"""A run's priority is raised where that is allowed, is told, and is put back."""

import os
from pathlib import Path

import pytest

from bench import priority


def test_the_priority_is_put_back_however_the_block_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    group = tmp_path / "autogroup"
    group.write_text("/autogroup-7 nice 3\n", encoding="ascii")
    monkeypatch.setattr(priority, "_AUTOGROUP", group)
    before = os.getpriority(os.PRIO_PROCESS, 0)
    during = None
    try:
        with priority.raised_priority() as told:
            during = os.getpriority(os.PRIO_PROCESS, 0), group.read_text(encoding="ascii")
            raise KeyboardInterrupt
    except KeyboardInterrupt:
        pass
    assert os.getpriority(os.PRIO_PROCESS, 0) == before
    if told.startswith("raised"):  # only root may
        assert during == (-15, "-15")
        assert group.read_text(encoding="ascii") == "3"
    else:
        assert during == (before, "/autogroup-7 nice 3\n")
        assert told == "as started: raising it wants root"


def test_a_kernel_without_groups_of_sessions_is_no_hindrance(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(priority, "_AUTOGROUP", tmp_path / "nothing")
    with priority.raised_priority() as told:
        assert "group" not in told
