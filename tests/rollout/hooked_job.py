"""A loopback job that lets a test do something at an exact moment: when a given entry has been recorded. Not a test."""

import asyncio
import contextlib
import os
import signal
import socket
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.kernel import Fault
from staddle.plan.looks import Seen
from staddle.rollout.journal import Entry, Lease, Recorded
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State
from staddle.stores.journal import SqlStore
from tests.platforms.bench import until
from tests.platforms.loopback_blocks import own_block
from tests.probes.loopback_servers import identity
from tests.rollout.loopback_job import LoopbackJob

__all__ = [
    "carry",
    "fault_of",
    "hook",
    "impostor",
    "job_in",
    "process_of",
    "real_place",
    "run_out",
    "shown",
    "stopped_here",
]


class HookedStore(SqlStore):
    """The real store; after a batch is on the disk it tells the test, within the same call."""

    told: Callable[[Entry], None]

    def append(self, lease: Lease, new: Sequence[Entry], *, now: datetime) -> tuple[Recorded, ...]:
        recorded = super().append(lease, new, now=now)
        for entry in new:
            self.told(entry)
        return recorded


@contextmanager
def job_in(folder: Path, *, members: int = 2) -> Iterator[LoopbackJob]:
    """A job on a block of its own; its machines are ended through the platform."""
    with own_block() as block:
        job = LoopbackJob(folder, block, members=members)
        try:
            yield job
        finally:
            with contextlib.suppress(ProcessLookupError):
                for member in job.head.plan.members:
                    asyncio.run(job.platform.remove_machine(job.head.plan, member))
            job.store.close()


def hook(job: LoopbackJob, step_id: str, event: Event, act: Callable[[], object]) -> None:
    """Do it once, right after that entry was recorded."""
    done: list[bool] = []

    def told(entry: Entry) -> None:
        if (entry.step_id, entry.event) == (step_id, event) and not done:
            done.append(True)
            act()

    job.store.__class__ = HookedStore
    job.store.told = told  # type: ignore[attr-defined]


def carry(job: LoopbackJob, *, factor: float = 1.0) -> Run:
    """Carry on until nothing more can be done."""
    runner = job.runner()
    runner.deadline_factor = factor
    return asyncio.run(asyncio.wait_for(runner.carry_on(), 90))


def fault_of(run: Run, step_id: str) -> str:
    """What the journal holds of a refused step, as it is printed."""
    assert run.state(step_id) is State.REFUSED, run.known[step_id]
    told = {key: str(text) for key, text in run.known[step_id].evidence.items()}
    return "\n".join(Fault(**told).lines())


def stopped_here(run: Run, step_id: str) -> None:
    """Only this member stopped, at this step; the first one went on to where it has to wait."""
    assert [step.step_id for step in run.in_state(State.REFUSED, State.NOT_KNOWN)] == [step_id]
    assert run.state("levels-1/await-seen") is State.SEEN_DONE
    assert run.state("cluster/prove") is State.TO_DO
    assert not run.sealed


def run_out(job: LoopbackJob) -> None:
    """After the mend the same command goes on to the seal."""
    run = carry(job)
    assert run.sealed, [
        (step.step_id, run.known[step.step_id].evidence) for step in run.in_state(State.REFUSED)
    ]


def process_of(job: LoopbackJob, number: int) -> int:
    """The process of a member's machine, as the platform shows it."""
    look = asyncio.run(job.platform.look_power(job.head.plan, job.head.plan.members[number - 1], None))
    assert isinstance(look, Seen)
    pid = look.evidence["process"]
    assert isinstance(pid, int)
    return pid


def real_place(job: LoopbackJob, number: int) -> tuple[str, int]:
    """Where the member is really reached."""
    member = job.head.plan.members[number - 1]
    return job.platform.reach(member.address, member.port)


@dataclass
class Impostor:
    """Another process's worth of a server on a member's address: greets with its own certificate, then hangs up."""

    place: tuple[str, int]

    def start(self) -> None:
        self.listener = socket.create_server(self.place)
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self.listener.accept()
            except OSError:
                return
            with connection, contextlib.suppress(OSError):
                connection.settimeout(5)
                with identity("impostor").context.wrap_socket(connection, server_side=True) as session:
                    session.recv(1)

    def stop(self) -> None:
        self.listener.shutdown(socket.SHUT_RDWR)
        self.listener.close()
        self.thread.join(10)


def shown(job: LoopbackJob, number: int) -> None:
    """Wait until the member's console shows its fingerprint; it answers on TCP a little earlier."""
    member = job.head.plan.members[number - 1]
    console = job.private / "loopback/hosts" / member.host / member.machine / "console"
    until(lambda: "ready" in console.read_text(), what="the fingerprint on the console")


def take_over(job: LoopbackJob, number: int, pid: int, other: Impostor) -> None:
    """End the member's process by its id, and answer on its address."""
    shown(job, number)
    os.kill(pid, signal.SIGKILL)

    def bound() -> bool:
        try:
            other.start()
        except OSError:
            return False
        return True

    until(bound, what=f"the address of member {number}")


def impostor(job: LoopbackJob, number: int, lock: Path) -> tuple[Impostor, Callable[[], None]]:
    """The impostor, and what puts it in the member's place. Args: lock: holds the number of the member's process."""
    other = Impostor(real_place(job, number))
    return other, lambda: take_over(job, number, int(lock.read_text()), other)
