"""Replacing the password, broken off again and again, on a real member that makes wrong tries wait."""

import asyncio
from pathlib import Path

import pytest

from staddle.kernel import SystemRandom
from staddle.plan.kind import get_kind
from staddle.plan.looks import NotYet
from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.rollout.states import Event
from staddle.trust.secretnames import PASSWORD
from staddle.trust.secrets import new_password
from tests.platforms.loopback_blocks import own_block
from tests.rollout.loopback_job import LoopbackJob, Silent


class StopsThere(Silent):
    """Breaks the run off when it comes to the password."""

    def recorded(self, entry: Entry, run: Run) -> None:
        if entry.step_id == "cluster/rotate-password" and entry.event is Event.STARTED:
            raise KeyboardInterrupt


def test_however_often_it_is_broken_off_no_try_comes_to_be_refused(tmp_path: Path) -> None:
    with own_block() as block:
        job = LoopbackJob(tmp_path, block, members=1)
        try:
            runner = job.runner()
            runner.watcher = StopsThere()
            with pytest.raises(KeyboardInterrupt):
                asyncio.run(runner.carry_on())
            # As a kill leaves it right before the appliance hears of the new one.
            job.vault.put(PASSWORD, new_password(SystemRandom()))
            step = job.head.plan.get_step("cluster/rotate-password")
            tools = job.workbench().tools(job.run)
            for _ in range(12):
                look = asyncio.run(get_kind("rotate-password").look(step, tools))
                assert look == NotYet(why="levels-1 still accepts the first password")
            assert job.carry_on().sealed
        finally:
            for member in job.head.plan.members:
                asyncio.run(job.platform.remove_machine(job.head.plan, member))
