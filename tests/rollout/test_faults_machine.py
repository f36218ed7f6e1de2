"""A member that does not come up, and one whose address is taken: it stops with a clear finding, the other goes on."""

import asyncio
import os
import signal
import socket
from pathlib import Path

import psutil
import pytest

from staddle.plan.looks import Seen
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State
from tests.platforms.bench import until
from tests.rollout.hooked_job import (
    carry,
    fault_of,
    hook,
    job_in,
    process_of,
    real_place,
    run_out,
    shown,
    stopped_here,
)
from tests.rollout.loopback_job import LoopbackJob


def test_a_taken_address_stops_the_member_before_its_machine_is_started(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        with socket.create_server(real_place(job, 2)):
            run = carry(job)
        stopped_here(run, "levels-2/power-on")
        assert fault_of(run, "levels-2/power-on") == (
            "something already answers on 192.0.2.62 port 8443, the address of levels-2\n"
            "  where: levels-2 on om-h02\n"
            "  why:   the machine is not running yet, so another one holds its address; starting ours would make two\n"
            "  try:   find and move the other holder, or give the member another address, then run the same command again"
        )
        look = asyncio.run(job.platform.look_power(job.head.plan, job.head.plan.members[1], None))
        assert not isinstance(look, Seen)
        run_out(job)


def test_wrong_answers_stop_the_member_with_the_last_words_of_its_console(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        member = job.head.plan.members[1]
        disc = job.private / "loopback/hosts" / member.host / member.machine / "answers.iso"
        good: list[bytes] = []

        def spoil() -> None:
            good.append(disc.read_bytes())
            # The document lies in the image as it is; another text of the same length keeps the image whole.
            disc.write_bytes(good[0].replace(b'"400"', b'"4e2"'))
            assert disc.read_bytes() != good[0]

        hook(job, "levels-2/attach-answers", Event.SEEN, spoil)
        run = carry(job)
        # The process may end before the first look at its power, or after it.
        step = next(step.step_id for step in run.in_state(State.REFUSED))
        title = {"levels-2/power-on": "power on", "levels-2/await-answer": "wait for an answer"}[step]
        stopped_here(run, step)
        assert fault_of(run, step) == (
            f'"{title}" was not seen done\n'
            f"  where: {step}\n"
            "  why:   the last look said: the machine has stopped; its console ends with: "
            'error: answer sluicelog.retention_days: "4e2" is not a number of days from 1 to 65535\n'
            "  try:   find out why with the probe named on the run card, mend it, and run the same command again"
        )
        disc.write_bytes(good[0])
        run_out(job)


def test_a_member_that_hangs_is_told_when_its_time_is_over(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        lock = job.private / "loopback/hosts/om-h02/levels-2/lock"

        def halt() -> None:
            shown(job, 2)
            os.kill(int(lock.read_text()), signal.SIGSTOP)

        hook(job, "levels-2/await-answer", Event.SEEN, halt)
        run: Run = carry(job, factor=0.03)
        step = "levels-2/confirm-fingerprint"
        stopped_here(run, step)
        assert fault_of(run, step) == (
            '"confirm the fingerprint" was not seen done in time\n'
            f"  where: {step}\n"
            "  why:   the last look said: 192.0.2.62 port 8443: no certificate within 5 s\n"
            "  try:   find out why with the probe named on the run card, mend it, and run the same command again"
        )
        os.kill(process_of(job, 2), signal.SIGCONT)
        run_out(job)


def stop(job: LoopbackJob, number: int) -> None:
    """Pull the plug of a member's machine, and wait until it is off."""
    pid = int((job.private / f"loopback/hosts/om-h0{number}/levels-{number}/lock").read_text())
    os.kill(pid, signal.SIGKILL)
    until(
        lambda: not psutil.pid_exists(pid) or psutil.Process(pid).status() == psutil.STATUS_ZOMBIE,
        deadline_s=40,
    )


SECOND = 2
LEADER = 1


@pytest.mark.parametrize(
    ("number", "after", "event"),
    [
        (SECOND, "levels-2/await-answer", Event.SEEN),  # meets the look at the console
        (SECOND, "levels-2/confirm-fingerprint", Event.SEEN),  # meets the wait until healthy
        (SECOND, "levels-2/await-healthy", Event.SEEN),  # meets the join, which has an effect of its own
        (SECOND, "levels-2/join", Event.SEEN),  # meets the wait until seen
        (SECOND, "levels-2/await-seen", Event.SEEN),  # meets the leader's own wait, or a step of the cluster
        (SECOND, "cluster/name-deputy", Event.SEEN),  # meets a further step of the cluster, as deputy
        (SECOND, "cluster/prove", Event.STARTED),
        (SECOND, "cluster/prove", Event.SEEN),  # meets the replacing of the password
        (SECOND, "cluster/rotate-password", Event.SEEN),  # meets the ejecting, which needs no running machine
        (SECOND, "levels-2/eject-answers", Event.SEEN),  # comes up again without its answers
        (LEADER, "levels-1/found", Event.SEEN),  # meets the other one's join
        (LEADER, "levels-2/await-seen", Event.SEEN),  # whoever leads then is asked
        (LEADER, "cluster/start", Event.SEEN),
    ],
)
def test_a_machine_that_stops_after_its_first_answer_is_started_again(
    tmp_path: Path, number: int, after: str, event: Event
) -> None:
    with job_in(tmp_path) as job:
        hook(job, after, event, lambda: stop(job, number))
        # A step with an effect tells of it and ends, and while a majority lacks the appliance refuses: the same command,
        # given again, goes on. Nobody starts the machine by hand.
        until(lambda: carry(job).sealed, deadline_s=240, what="the seal")
