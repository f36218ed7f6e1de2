"""One good look is not a proof: two rounds in a row must agree, and an appliance whose lies come and go is not called good.

The job, its journal, the wire and the appliance's processes are real; only the clock is the test's, so that no time passes
between rounds.
"""

import asyncio
import json
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from staddle.jobs.folder import find_job
from staddle.jobs.prove import keep_proof, prove
from staddle.jobs.rollout import open_rollout
from staddle.jobs.rollouts import ROLLOUT, OpenRollout
from staddle.kernel import NotAllowed, SystemRandom, from_json
from staddle.proof.model import Proof
from staddle.rollout.journal import Entry
from staddle.rollout.states import Event
from staddle.trust.secretnames import FIRST_PASSWORD
from staddle.trust.secrets import Secret
from tests.cli.demo_job import free_block, loopback_job, settle

ROOT = Path(__file__).parents[2]


class Flaps:
    """The appliance; ``tell`` puts faults in force and returns when they are."""

    def __init__(self, process: "subprocess.Popen[str]", members: list[dict[str, Any]]) -> None:
        self._process = process
        self.members = members

    def tell(self, faults: str) -> None:
        """Put these faults in force."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(faults + "\n")
        self._process.stdin.flush()
        assert self._process.stdout.readline() == "ok\n"


@contextmanager
def appliance(folder: Path, rollout: OpenRollout) -> Iterator[Flaps]:
    """The members that the rollout's plan names, on their addresses."""
    rows = ",".join(f"{m.fqdn}={m.address}:{m.port}" for m in rollout.head.plan.members)
    command = [sys.executable, "-m", "tests.proof.flapping", "--members", rows, "--folder", str(folder)]
    command += ["--memory-mib", "16384"]
    with subprocess.Popen(
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        try:
            yield Flaps(process, json.loads(process.stdout.readline())["members"])
        finally:
            process.kill()


class StepClock:
    """Time stands still but for ``sleep``, which does what the test wants done between two rounds."""

    def __init__(self) -> None:
        self._now = datetime.now(UTC)
        self.between: Callable[[int], None] = lambda sleeps: None
        self.sleeps = 0

    def now(self) -> datetime:
        return self._now

    async def sleep(self, seconds: float) -> None:
        self.sleeps += 1
        # Ten seconds a pause, so that the give-up after 30 s is reached in a few rounds.
        self._now += timedelta(seconds=10)
        self.between(self.sleeps)


def rollout_in(root: Path, clock: StepClock) -> OpenRollout:
    """A rollout of the demo's job by hand, with nothing done yet."""
    job = loopback_job(root, block=free_block())
    settle(job)
    rollout = open_rollout(find_job(job), ROLLOUT, clock=clock, random=SystemRandom(), actor="the tests")
    rollout.vault.put(FIRST_PASSWORD, Secret("first-Password-1"))
    return rollout


def confirm(rollout: OpenRollout, members: list[dict[str, Any]]) -> None:
    """Record each member's fingerprint as confirmed."""
    now = rollout.clock.now()
    lease = rollout.store.take_lease(
        rollout.head.rollout_id, holder="the tests", now=now, span=timedelta(hours=1), is_gone=lambda _: False
    )
    entries = []
    for number, member in enumerate(members, 1):
        step = f"levels-{number}/confirm-fingerprint"
        seen = {"fingerprint": member["journal_fingerprint"]}
        entries.append(Entry(step_id=step, at=now, actor="the tests", event=Event.STARTED))
        entries.append(Entry(step_id=step, at=now, actor="the tests", event=Event.SEEN, evidence=seen))
    rollout.store.append(lease, entries, now=now)
    rollout.store.release_lease(lease)


def test_two_agreeing_rounds_make_it_good(tmp_path: Path) -> None:
    clock = StepClock()
    rollout = rollout_in(tmp_path / "job", clock)
    with appliance(tmp_path / "keys", rollout) as members:
        confirm(rollout, members.members)
        proof = asyncio.run(prove(rollout))
    assert (proof.failed(), proof.good, proof.rounds, clock.sleeps) == ((), True, 2, 1)
    names = keep_proof(rollout, proof)
    assert names == ("records/levels-rollout-1/proof.json", "records/levels-rollout-1/proof.junit.xml")
    assert from_json((rollout.job.folder.root / names[0]).read_bytes(), Proof) == proof


def test_an_appliance_that_flaps_is_never_called_good(tmp_path: Path) -> None:
    clock = StepClock()
    rollout = rollout_in(tmp_path / "job", clock)
    with appliance(tmp_path / "keys", rollout) as members:
        # Every other round is good: rounds 1 and 3 are, 2 and 4 are not.
        clock.between = lambda sleeps: members.tell("lost-write" if sleeps % 2 else "")
        confirm(rollout, members.members)
        proof = asyncio.run(prove(rollout))
    assert (proof.good, proof.rounds, clock.sleeps) == (False, 0, 3)
    assert {check.name for check in proof.failed()} == {"a read of what levels-3 wrote"}


def test_a_last_good_round_alone_is_not_good(tmp_path: Path) -> None:
    clock = StepClock()
    rollout = rollout_in(tmp_path / "job", clock)
    with appliance(tmp_path / "keys", rollout) as members:
        members.tell("version")
        clock.between = lambda sleeps: members.tell("" if sleeps == 3 else "version")
        confirm(rollout, members.members)
        proof = asyncio.run(prove(rollout))
    # Every check of the last round is good, and still it is one round only.
    assert (proof.good, proof.rounds, proof.failed()) == (False, 1, ())


def test_lies_that_end_are_forgiven_after_two_good_rounds(tmp_path: Path) -> None:
    clock = StepClock()
    rollout = rollout_in(tmp_path / "job", clock)
    with appliance(tmp_path / "keys", rollout) as members:
        members.tell("missing")
        clock.between = lambda _: members.tell("")
        confirm(rollout, members.members)
        proof = asyncio.run(prove(rollout))
    assert (proof.good, proof.rounds, clock.sleeps) == (True, 2, 2)


def test_without_confirmed_fingerprints_there_is_nothing_to_compare_with(tmp_path: Path) -> None:
    rollout = rollout_in(tmp_path / "job", StepClock())
    with pytest.raises(NotAllowed, match="levels-1, levels-2, levels-3"):
        asyncio.run(prove(rollout))
