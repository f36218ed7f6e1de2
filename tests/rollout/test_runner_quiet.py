"""What a whole run leaves and holds: no secret outside the strongbox, no thread for a wait, no member taken along."""

import base64
import logging
import threading
from pathlib import Path

import pytest

from staddle.jobs.vault import RolloutVault
from staddle.plan.looks import Look, Signature
from staddle.plan.orders import MemberOrder, Plan
from staddle.platforms.loopback import LoopbackPlatform
from staddle.rollout.journal import Entry
from staddle.rollout.states import State
from staddle.trust.secretnames import FIRST_PASSWORD, PASSWORD
from staddle.trust.secrets import Secret
from tests.rollout.hooked_job import HookedStore, carry, job_in, run_out
from tests.rollout.loopback_job import ROLLOUT
from tests.rollout.secret_forms import forms


class RememberingVault(RolloutVault):
    """The real vault, and a list of all that was ever put into it."""

    put_in: list[Secret] = []

    def put(self, name: str, secret: Secret) -> None:
        self.put_in.append(secret)
        super().put(name, secret)


def test_a_sealed_run_leaves_no_secret_and_holds_few_threads(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    caplog.set_level(logging.DEBUG)
    threads: list[int] = []
    before = threading.active_count()
    with job_in(tmp_path, members=3) as job:
        job.vault.__class__ = RememberingVault
        job.store.__class__ = HookedStore
        answers: list[bool] = []

        def told(entry: Entry) -> None:
            threads.append(threading.active_count() - before)
            if entry.step_id == "cluster/prove":
                answers.append(bool(list(tmp_path.rglob("answers.iso"))))

        job.store.told = told  # type: ignore[attr-defined]
        assert carry(job).sealed
        # The pool of asyncio.to_thread for disks and starters; waits themselves add none.
        assert max(threads) <= 8
        assert all(answers), "the answers were there before they were ejected"
        assert list(tmp_path.rglob("*answers.iso*")) == []
        secrets = [job.vault.get(FIRST_PASSWORD), job.vault.get(PASSWORD), *RememberingVault.put_in]
        assert len({secret.unsafe_reveal() for secret in secrets}) == 4  # two passwords, two join secrets
        texts = {
            str(path.relative_to(tmp_path)): path.read_bytes()
            for path in tmp_path.rglob("*")
            if path.is_file()
        }
        said = capfd.readouterr()
        texts |= {
            "log": caplog.text.encode(),
            "output": said.out.encode(),
            "errors": said.err.encode(),
            "journal": repr(job.store.entries(ROLLOUT)).encode(),
        }
        assert "journal.sqlite" in texts
        assert "private/loopback/hosts/om-h01/levels-1/console" in texts
        found = {name for name, text in texts.items() for s in secrets for form in forms(s) if form in text}
        assert found == set()


def test_the_search_for_secrets_would_find_one() -> None:
    secret = Secret("first-Password-1")
    header = base64.b64encode(b"admin:first-Password-1")
    assert any(form in header for form in forms(secret))
    assert any(form in b"x=first-Password-1;" for form in forms(secret))


class RaisingPlatform(LoopbackPlatform):
    """The loopback platform with a bug in it that hits one member."""

    where = "act"

    async def create_machine(self, plan: Plan, member: MemberOrder) -> None:
        if member.member == "levels-2" and self.where == "act":
            raise RuntimeError("a list index that nobody foresaw")
        await super().create_machine(plan, member)

    async def look_machine(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        if member.member == "levels-2" and self.where == "look":
            raise KeyError("a field that nobody foresaw")
        return await super().look_machine(plan, member, signed)


@pytest.mark.parametrize("where", ["act", "look"])
def test_a_bug_that_hits_one_member_takes_no_other_along(tmp_path: Path, where: str) -> None:
    with job_in(tmp_path) as job:
        job.platform.__class__ = RaisingPlatform
        job.platform.where = where  # type: ignore[attr-defined]
        run = carry(job, factor=0.03)
        assert run.state("levels-1/await-seen") is State.SEEN_DONE
        known = run.known["levels-2/create-machine"]
        told = {
            # After an effect nobody knows what it left; a look that fails says nothing and is refused in the end.
            "act": (State.NOT_KNOWN, "RuntimeError: a list index that nobody foresaw"),
            "look": (State.REFUSED, "KeyError: 'a field that nobody foresaw'"),
        }
        assert (known.state, known.evidence["what"]) == told[where]
        assert known.evidence["where"] == "levels-2/create-machine"
        assert known.evidence["mend"] == "this is a fault of the program: report it with the journal"
        job.platform.__class__ = LoopbackPlatform
        run_out(job)
