"""What evidence and records hold: no secret that a machine tells back, rounds as they were, and no work after a stop."""

import asyncio
import threading
from pathlib import Path

import pytest

from staddle.kernel import canonical_json
from staddle.rollout.states import Event
from staddle.trust.secrets import HIDDEN, Redactor, Secret
from tests.rollout.hooked_job import job_in
from tests.rollout.loopback_job import ROLLOUT


def test_no_event_carries_what_the_redactor_knows_into_the_journal(tmp_path: Path) -> None:
    with job_in(tmp_path, members=1) as job:
        runner = job.runner()
        # The member tells its version in its health, and every member's name stands in a list: both are "secrets" here.
        runner.hide = Redactor([Secret("4.2.0"), Secret("levels-1")]).redact
        run = asyncio.run(runner.carry_on())
        assert run.sealed
        seen = [one.entry for one in job.store.entries(ROLLOUT) if one.entry.event is Event.SEEN]
        health = next(one.evidence for one in seen if one.step_id == "levels-1/await-healthy")
        others = next(one.evidence for one in seen if one.step_id == "levels-1/await-seen")
        assert (health["version"], others["seen_by"]) == (HIDDEN, [HIDDEN])
        evidence = "".join(str(canonical_json(one.entry.evidence)) for one in job.store.entries(ROLLOUT))
        assert "4.2.0" not in evidence
        assert "levels-1" not in evidence


def test_the_rounds_of_the_last_proof_are_those_that_agreed_with_its_password(tmp_path: Path) -> None:
    with job_in(tmp_path, members=1) as job:
        runner, bench = job.runner(), job.workbench()
        runner.make_tools = bench.tools
        assert asyncio.run(runner.carry_on()).sealed
        # Two before the password was replaced, and two after it: the seal settles at two.
        assert bench.last_proof is not None
        assert (bench.last_proof.good, bench.last_proof.rounds) == (True, 2)


def test_a_stopped_verification_reads_no_further(tmp_path: Path) -> None:
    with job_in(tmp_path, members=1) as job:
        begun, go_on = threading.Event(), threading.Event()
        blocks: list[int] = []

        def progress(done: int, total: int) -> None:
            blocks.append(done)
            begun.set()
            go_on.wait(40)

        bench = job.workbench()

        async def stop_in_the_middle() -> None:
            work = asyncio.create_task(bench._verify(progress))
            await asyncio.to_thread(begun.wait, 40)
            work.cancel()
            with pytest.raises(asyncio.CancelledError):
                await work
            go_on.set()

        size_bytes = job.package_path.stat().st_size
        asyncio.run(stop_in_the_middle())  # ends only when its threads have ended
        assert len(blocks) == 1
        assert blocks[0] < size_bytes
