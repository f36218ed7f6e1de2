"""One runner at a time: two real processes on one journal, and a lease that is lost in the middle."""

import asyncio
import os
import re
import signal
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from staddle.kernel import NotAllowed
from staddle.rollout.journal import LeaseLost, Recorded
from staddle.rollout.states import Event
from tests.platforms.bench import snapshot, until
from tests.platforms.loopback_blocks import own_block
from tests.rollout.hooked_job import carry, hook, job_in
from tests.rollout.loopback_job import ROLLOUT, LoopbackJob

ROOT = Path(__file__).resolve().parents[2]


def test_a_second_runner_is_refused_while_one_lives_and_takes_over_at_once_when_it_was_killed(
    tmp_path: Path,
) -> None:
    with own_block() as block:
        command = [sys.executable, "-m", "tests.rollout.loopback_job", str(tmp_path), str(block)]
        environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"}
        job = LoopbackJob(tmp_path, block)
        try:
            with subprocess.Popen(command, cwd=ROOT, env=environment) as first:
                until(lambda: job.store.entries(ROLLOUT), what="the first runner at work")
                first.send_signal(signal.SIGSTOP)  # it holds the lease and does not get on: it is not gone
                before = job.store.entries(ROLLOUT)
                with pytest.raises(NotAllowed) as caught:
                    job.carry_on()
                assert re.fullmatch(
                    rf"error: this rollout is being carried out by \S+ process {first.pid} started \d+ among [0-9a-f]{{10}}\n"
                    rf"  where: {re.escape(str(tmp_path))}/journal\.sqlite\n"
                    r"  why:   its lease holds until \S+ and is renewed while it works\n"
                    r"  try:   let it finish; if it has died on another machine, try again after that time",
                    str(caught.value),
                )
                assert job.store.entries(ROLLOUT) == before
                first.kill()
            started = datetime.now(UTC)
            run = job.carry_on()
            assert run.sealed
            later = [recorded for recorded in job.store.entries(ROLLOUT) if recorded.epoch == 2]
            assert later[0].entry.at - started < timedelta(
                seconds=5
            )  # the lease alone would have held for 30
            epochs = [recorded.epoch for recorded in job.store.entries(ROLLOUT)]
            assert epochs == sorted(epochs)
            assert set(epochs) == {1, 2}
        finally:
            for member in job.head.plan.members:
                asyncio.run(job.platform.remove_machine(job.head.plan, member))
            job.store.close()


def test_a_lease_that_was_lost_cancels_everything_and_nothing_more_is_recorded(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        known: list[tuple[Recorded, ...]] = []

        def hand_over() -> None:
            known.append(job.store.entries(ROLLOUT))
            job.store.take_lease(
                ROLLOUT,
                holder="another runner",
                now=datetime.now(UTC),
                span=timedelta(minutes=10),
                is_gone=lambda holder: True,
            )

        hook(job, "levels-1/deliver-disk/system", Event.SEEN, hand_over)
        with pytest.raises(LeaseLost) as caught:
            carry(job)
        assert str(caught.value) == (
            "error: the lease of this rollout was lost\n"
            f"  where: {tmp_path / 'journal.sqlite'}\n"
            "  why:   another runner took over, or this one was held up beyond the end of its lease\n"
            "  try:   run the same command again: it looks first and repeats nothing that was done"
        )
        recorded = job.store.entries(ROLLOUT)
        assert [recorded] == known
        assert {one.epoch for one in recorded} == {1}
        left = snapshot(job.private / "loopback")
        with pytest.raises(NotAllowed, match="is being carried out by another runner"):
            carry(job)
        assert job.store.entries(ROLLOUT) == recorded
        assert snapshot(job.private / "loopback") == left, "something was still at work"
