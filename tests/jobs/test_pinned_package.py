"""The bytes that are delivered are the ones that were verified, whatever happens to the file in between."""

import asyncio
import os
from dataclasses import dataclass
from pathlib import Path

from staddle.jobs.folder import find_job
from staddle.jobs.rollout import open_rollout
from staddle.jobs.rollouts import REHEARSAL
from staddle.kernel import SystemClock, SystemRandom
from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State
from tests.cli.demo_job import PACKAGE, demo_job, settle
from tests.rollout.loopback_job import Silent


@dataclass
class Swaps(Silent):
    """Changes one bit of the data disk's file as soon as the package was seen verified."""

    package: Path
    count: int = 0

    def recorded(self, entry: Entry, run: Run) -> None:
        if entry.step_id == "cluster/verify-package" and entry.event is Event.SEEN:
            self.count += 1
            with self.package.open("r+b") as file:
                file.seek(-60_000, os.SEEK_END)
                (byte,) = file.read(1)
                file.seek(-1, os.SEEK_CUR)
                file.write(bytes([byte ^ 1]))


def test_a_file_that_was_replaced_after_it_was_verified_is_not_delivered(tmp_path: Path) -> None:
    job = demo_job(tmp_path, block=233)
    settle(job)
    rollout = open_rollout(
        find_job(job), REHEARSAL, clock=SystemClock(), random=SystemRandom(), actor="the tests"
    )
    swaps = Swaps(tmp_path / PACKAGE)
    run = asyncio.run(rollout.carry_on(swaps, swaps))
    assert swaps.count == 1
    for number in (1, 2, 3):
        known = run.known[f"levels-{number}/deliver-disk/data"]
        assert known.state is State.REFUSED
        assert known.evidence["what"] == '"sluicelog-4.2.0-data.img" is not the file that was verified'
        assert run.state(f"levels-{number}/create-machine") is State.TO_DO
    assert not list((job / "private/loopback/pools").glob("*/levels-*-data/content"))
