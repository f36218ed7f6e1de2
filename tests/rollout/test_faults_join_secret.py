"""Join secrets that cannot serve: the step says so and the next try gets a new one; a left-over one is never used."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from staddle.jobs.vault import RolloutVault
from staddle.rollout.states import State
from staddle.trust.secretnames import join_secret_name
from staddle.trust.secrets import Secret
from tests.platforms.bench import until
from tests.rollout.hooked_job import carry, fault_of, job_in, run_out, stopped_here
from tests.rollout.loopback_job import ROLLOUT

NAME = join_secret_name("levels-2")


class LateVault(RolloutVault):
    """The real vault, on a day when a join secret lies there until its lifetime of one second is over."""

    def put(self, name: str, secret: Secret) -> None:
        super().put(name, secret)
        if name == NAME:
            over = datetime.now(UTC) + timedelta(seconds=1.05)
            until(lambda: datetime.now(UTC) > over, what="the end of the secret's lifetime")


def test_an_expired_secret_is_told_and_the_next_try_gets_a_new_one(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        plan = job.head.plan
        job.with_plan(replace(plan, join_secret_s=1))
        job.vault.__class__ = LateVault
        run = carry(job)
        stopped_here(run, "levels-2/join")
        assert fault_of(run, "levels-2/join") == (
            "levels-2 refuses: this join secret has expired; issue a new one\n"
            "  where: act join at 192.0.2.62 port 8443, status 403\n"
            "  try:   mend what it names, then run the same command again"
        )
        expired = job.vault.get(NAME)
        job.with_plan(plan)
        job.vault.__class__ = RolloutVault
        run_out(job)
        assert job.vault.find(NAME) != expired


def test_a_secret_that_an_earlier_try_left_is_not_used_and_not_kept(tmp_path: Path) -> None:
    left = Secret("L" * 43)
    with job_in(tmp_path) as job:
        job.vault.put(NAME, left)
        run = carry(job)
        assert run.sealed
        assert [r.entry.step_id for r in job.store.entries(ROLLOUT) if r.entry.event == "refused"] == []
        assert run.state("levels-2/join") is State.SEEN_DONE
        assert job.vault.find(NAME) is None
