"""Another member leads than the design says: steps are asked of whoever leads, and what a take-over took away comes back."""

import asyncio
import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.rollout.states import Event
from staddle.trust.secretnames import FIRST_PASSWORD, PASSWORD
from tests.platforms.bench import until
from tests.rollout.hooked_job import job_in, process_of, real_place, run_out
from tests.rollout.loopback_job import LoopbackJob, Silent
from tests.standin.cluster import call


class StopsAt(Silent):
    """Breaks the run off at an entry."""

    def __init__(self, step_id: str, event: Event) -> None:
        self.place = (step_id, event)

    def recorded(self, entry: Entry, run: Run) -> None:
        if (entry.step_id, entry.event) == self.place:
            raise KeyboardInterrupt


def break_off(job: LoopbackJob, step_id: str, event: Event) -> None:
    runner = job.runner()
    runner.watcher = StopsAt(step_id, event)
    with pytest.raises(KeyboardInterrupt):
        asyncio.run(runner.carry_on())


def name(number: int) -> str:
    return f"levels-{number}.levels.ousemoor.example"


def ask(
    job: LoopbackJob, number: int, method: str, path: str, body: dict[str, Any] | None = None
) -> dict[str, Any]:
    secret = job.vault.find(PASSWORD) or job.vault.get(FIRST_PASSWORD)
    password = secret.unsafe_reveal()
    status, told = call(real_place(job, number), method, path, body, password=password)
    return told if status == 200 else {}


@contextmanager
def held(job: LoopbackJob, number: int) -> Iterator[None]:
    """A member that does nothing for a while; the others lose it."""
    pid = process_of(job, number)
    os.kill(pid, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(pid, signal.SIGCONT)


def take_over(job: LoopbackJob, old: int, *new: int) -> int:
    """Hold the leader until one of the others leads and all follow it; which one."""

    def leads(number: int) -> bool:
        return ask(job, number, "GET", "view").get("leader") == name(number)

    with held(job, old):
        until(lambda: any(leads(number) for number in new), deadline_s=40, what="another leader")
    follows = [number for number in new if leads(number)]
    until(
        lambda: (
            {ask(job, number, "GET", "view").get("leader") for number in (old, *new)} == {name(follows[0])}
        ),
        deadline_s=40,
        what="agreement on the leader",
    )
    return follows[0]


def test_a_deputy_that_leads_already_changes_places_with_the_leader(tmp_path: Path) -> None:
    with job_in(tmp_path, members=3) as job:
        break_off(job, "cluster/name-deputy", Event.STARTED)
        ask(job, 1, "POST", "deputy", {"name": name(2)})
        take_over(job, 1, 2, 3)
        assert ask(job, 3, "GET", "view")["leader"] == name(2)  # the deputy stands first
        assert ask(job, 3, "GET", "view")["deputy"] is None
        run_out(job)
        view = ask(job, 3, "GET", "view")
        assert (view["leader"], view["deputy"], view["started"]) == (name(2), name(1), True)


def test_a_deputy_that_two_take_overs_took_away_is_named_again(tmp_path: Path) -> None:
    with job_in(tmp_path, members=3) as job:
        break_off(job, "cluster/prove", Event.STARTED)
        take_over(job, 1, 2, 3)
        leading = take_over(job, 2, 1, 3)
        assert ask(job, 2, "GET", "view")["deputy"] is None
        run_out(job)
        view = ask(job, 2, "GET", "view")
        assert (view["leader"], view["deputy"]) == (name(leading), name(2))
