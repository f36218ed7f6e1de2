"""An entry that was taken out of the journal is missed, though every other one still has its hash."""

import sqlite3
from pathlib import Path

import pytest

from staddle.jobs.journal import read_journal
from staddle.kernel import OurFault
from tests.jobs.test_rollouts_standing import DONE, job_in, opened, told


def test_a_missing_entry_is_told(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    rollout = opened(folder)
    told(rollout, *DONE)
    assert len(read_journal(folder).entries) == 2
    rollout.store.close()
    with sqlite3.connect(folder.journal) as connection:
        connection.execute("DELETE FROM entries WHERE seq = 1")
    connection.close()
    with pytest.raises(OurFault, match="entry 1 of levels-rehearsal-1 is missing"):
        read_journal(folder)
