"""Real kill -9 of the program, at every boundary and at random moments, then the same command again.

What must hold afterwards: the rollout is sealed, nothing was made twice, nothing was lost, and what the platform shows
is what the journal says.
"""

import asyncio
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from staddle.plan.ports import Owned
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State
from staddle.trust.secretnames import FIRST_PASSWORD
from tests.rollout.loopback_job import ROLLOUT, LoopbackJob
from tests.rollout.secret_forms import forms

ROOT = Path(__file__).resolve().parents[2]


def start(folder: Path, block: int, direction: str = "forward", mark: str = "") -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.rollout.loopback_job", str(folder), str(block), direction, mark]
    environment = {**os.environ, "PYTHONPATH": f"{ROOT / 'src'}{os.pathsep}{ROOT}"}
    return subprocess.Popen(
        command, cwd=ROOT, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )


def finish(process: subprocess.Popen[bytes]) -> int:
    _, errors = process.communicate(timeout=120)
    if process.returncode not in (0, -signal.SIGKILL):
        raise AssertionError(f"the program ended with {process.returncode}:\n{errors.decode()}")
    return process.returncode


def clear(job: LoopbackJob) -> None:
    """End the stand-ins that this test started, through the platform that started them."""
    for member in job.head.plan.members:
        asyncio.run(job.platform.remove_machine(job.head.plan, member))


def check_agreement(job: LoopbackJob) -> None:
    """Platform and journal agree: the same things, each once, by the platform's own ids."""
    plan, run = job.head.plan, job.run()
    inventory = asyncio.run(job.platform.inventory(plan.tag))
    journalled = sorted(
        (kind, str(run.known[step.step_id].evidence["platform_id"]))
        for step in plan.steps
        for kind, name in (("disk", "deliver-disk"), ("machine", "create-machine"))
        if step.kind == name
    )
    assert sorted((thing.kind, thing.platform_id) for thing in inventory) == journalled
    running = [one_process(job, member.machine, member.host) for member in plan.members]
    assert len(set(running)) == len(plan.members)


def one_process(job: LoopbackJob, machine: str, host: str) -> int:
    folder = job.private / "loopback" / "hosts" / host / machine
    found = []
    for entry in Path("/proc").iterdir():
        try:
            words = (entry / "cmdline").read_bytes().split(b"\0") if entry.name.isdigit() else []
        except OSError:
            continue
        if str(folder / "state").encode() in words and b"staddle.standin" in words:
            found.append(int(entry.name))
    assert len(found) == 1, f"{machine} runs {len(found)} times"
    return found[0]


def check_no_answers(job: LoopbackJob) -> None:
    """No disc with answers is left, in part or whole, and no file holds the first password but the strongbox, encrypted."""
    assert list(job.folder.rglob("*answers.iso*")) == []
    first = job.vault.find(FIRST_PASSWORD)
    assert first is not None
    texts = {path: path.read_bytes() for path in job.folder.rglob("*") if path.is_file()}
    assert job.folder / "journal.sqlite" in texts
    assert [path for path, text in texts.items() if any(form in text for form in forms(first))] == []


def check_once(job: LoopbackJob) -> None:
    """Every step was seen done exactly once, and the cluster has each member exactly once."""
    seen = [r.entry.step_id for r in job.store.entries(ROLLOUT) if r.entry.event is Event.SEEN]
    assert sorted(seen) == sorted(step.step_id for step in job.head.plan.steps)
    bench = job.workbench()
    proof = asyncio.run(bench.prove_once(bench.tools(job.run)))
    assert proof.good, proof.failed()


def test_killed_at_every_boundary_it_goes_on_and_does_nothing_twice(tmp_path: Path) -> None:
    kills = 0
    job = LoopbackJob(tmp_path, 90)
    try:
        while True:
            # Before the second batch: the first effects of this process have happened and are not recorded yet.
            # After it: they are recorded, and what they make possible has not begun.
            mark = ("before:2", "after:2")[kills % 2]
            code = finish(start(tmp_path, 90, mark=mark))
            if code == 0:
                break
            kills += 1
            assert kills < 400
        sys.stdout.write(f"killed {kills} times\n")
        assert kills >= 60
        assert job.run().sealed
        check_agreement(job)
        check_once(job)
        check_no_answers(job)
    finally:
        clear(job)


@pytest.mark.parametrize("seed", [1, 2])
def test_killed_at_random_moments_it_goes_on_and_does_nothing_twice(tmp_path: Path, seed: int) -> None:
    drawn = random.Random(seed)
    sys.stdout.write(f"seed {seed}\n")
    block = 90 + seed
    job = LoopbackJob(tmp_path, block)
    kills = 0
    try:
        for _ in range(200):
            process = start(tmp_path, block)
            # No step on or one, and then anywhere within the next effect or its recording.
            wait_for_steps(job, process, drawn.choice((0, 0, 1)))
            time.sleep(drawn.uniform(0, 0.1))
            process.kill()
            if finish(process) == 0:
                break
            kills += 1
        sys.stdout.write(f"killed {kills} times\n")
        assert kills >= 20
        assert job.run().sealed
        check_agreement(job)
        check_once(job)
        check_no_answers(job)
    finally:
        clear(job)


def wait_for_steps(job: LoopbackJob, process: subprocess.Popen[bytes], count: int) -> None:
    """Until the process has recorded something, and so many steps as seen done; or ended."""
    before = job.store.entries(ROLLOUT)
    while process.poll() is None:
        new = job.store.entries(ROLLOUT)[len(before) :]
        if new and sum(recorded.entry.event is Event.SEEN for recorded in new) >= count:
            return
        time.sleep(0.01)


def test_killed_during_back_out_it_goes_on_until_nothing_of_ours_is_left(tmp_path: Path) -> None:
    job = LoopbackJob(tmp_path, 93)
    foreign = job.private / "loopback" / "hosts" / "om-h01" / "somebody-else"
    foreign.mkdir(parents=True)
    (foreign / "tag.json").write_text('{"tag": "another/tool", "platform_id": "x", "facts": {}}')
    try:
        assert job.carry_on().sealed
        kills = 0
        while finish(start(tmp_path, 93, "back-out", ("before:2", "after:2")[kills % 2])) != 0:
            kills += 1
            assert kills < 100
        assert kills >= 6
        run: Run = job.run()
        left: tuple[Owned, ...] = asyncio.run(job.platform.inventory(job.head.plan.tag))
        assert left == ()
        assert {run.state(step.step_id) for step in run.plan.steps} == {State.BACKED_OUT}
        assert foreign.exists()
        check_no_answers(job)
    finally:
        clear(job)
