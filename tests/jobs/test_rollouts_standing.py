"""Which rollout a command goes on with, what stands in a new one's way, and on which platform an old one is taken back."""

import asyncio
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from staddle.jobs.back_out import back_out, back_out_list
from staddle.jobs.folder import JobFolder, find_job
from staddle.jobs.rollout import open_rollout
from staddle.jobs.rollouts import REHEARSAL, ROLLOUT, OpenRollout
from staddle.kernel import InputRefused, NotAllowed, SystemClock, SystemRandom
from staddle.rollout.decide import Direction
from staddle.rollout.journal import Entry
from staddle.rollout.states import Event, State
from staddle.trust.secretnames import FIRST_PASSWORD
from tests.cli.demo_job import demo_job, open_window, settle
from tests.rollout.loopback_job import Silent


def job_in(root: Path) -> JobFolder:
    job = open_window(demo_job(root, block=232))
    settle(job)
    return find_job(job)


def opened(folder: JobFolder, purpose: str = REHEARSAL) -> OpenRollout:
    return open_rollout(
        folder, purpose, clock=SystemClock(), random=SystemRandom(), actor="the tests", pin=True
    )


def told(rollout: OpenRollout, *events: tuple[str, Event]) -> None:
    """Record these as if a runner had."""
    now = rollout.clock.now()
    lease = rollout.store.take_lease(
        rollout.head.rollout_id, holder="the tests", now=now, span=timedelta(hours=1), is_gone=lambda _: False
    )
    entries = [Entry(step_id=step, event=event, at=now, actor="the tests") for step, event in events]
    rollout.store.append(lease, entries, now=now)
    rollout.store.release_lease(lease)


def sealed(rollout: OpenRollout) -> None:
    steps = rollout.head.plan.steps
    told(rollout, *((step.step_id, event) for step in steps for event in (Event.STARTED, Event.SEEN)))
    assert rollout.run().sealed


DONE = (("cluster/book-room", Event.STARTED), ("cluster/book-room", Event.SEEN))
HALF_GONE = (*DONE, ("cluster/book-room", Event.UNDO_STARTED))


def test_a_sealed_rehearsal_has_to_be_cleared_away_before_another_begins(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    first = opened(folder)
    sealed(first)
    with pytest.raises(NotAllowed, match=r"levels-rehearsal-1 is sealed, and what it made stands"):
        opened(folder)
    found = back_out_list(folder, SystemClock(), rehearsal=True, actor="the tests")
    assert found.rollout.head.rollout_id == "levels-rehearsal-1"
    run = asyncio.run(back_out(found.rollout, Silent(), Silent()))
    assert {run.state(step.step_id) for step in run.plan.steps} == {State.BACKED_OUT}
    assert opened(folder).head.rollout_id == "levels-rehearsal-2"


def test_a_sealed_rollout_is_never_begun_a_second_time(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    sealed(opened(folder, ROLLOUT))
    with pytest.raises(NotAllowed, match=r"levels-rollout-1 is sealed, and what it made stands"):
        opened(folder, ROLLOUT)


def test_a_half_taken_back_one_has_to_be_gone_before_another_begins(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    first = opened(folder)
    told(first, *HALF_GONE)
    with pytest.raises(NotAllowed, match=r"the back-out of levels-rehearsal-1 is not complete"):
        opened(folder)
    found = back_out_list(folder, SystemClock(), rehearsal=True, actor="the tests")
    asyncio.run(back_out(found.rollout, Silent(), Silent()))
    assert opened(folder).head.rollout_id == "levels-rehearsal-2"


def test_what_was_backed_out_since_it_was_opened_is_not_carried_on(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    waiting = opened(folder)
    told(opened(folder), *HALF_GONE)
    with pytest.raises(NotAllowed, match=r"levels-rehearsal-1 was backed out meanwhile"):
        asyncio.run(waiting.carry_on(Silent(), Silent()))


def test_what_was_sealed_since_it_was_opened_is_not_backed_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = job_in(tmp_path)
    opened(folder, ROLLOUT)
    waiting = back_out_list(folder, SystemClock(), rehearsal=False, actor="the tests").rollout
    look_first = waiting.refuse_sealed

    def sealed_right_after_the_look() -> None:
        look_first()
        sealed(opened(folder, ROLLOUT))

    monkeypatch.setattr(waiting, "refuse_sealed", sealed_right_after_the_look)
    with pytest.raises(NotAllowed, match=r"rollout levels-rollout-1 is sealed"):
        asyncio.run(waiting.carry_on(Silent(), Silent(), Direction.BACK_OUT))
    assert waiting.run().sealed


def test_a_back_out_is_made_on_the_platform_of_the_rollout_not_on_that_of_todays_design(
    tmp_path: Path,
) -> None:
    folder = job_in(tmp_path)
    first = opened(folder, ROLLOUT)
    assert first.platform.name == "by-hand"
    machine = "levels-1/create-machine"
    told(first, *DONE, (machine, Event.STARTED), (machine, Event.SEEN))
    text = folder.design.read_text(encoding="utf-8")
    changed = text.replace("platform: by-hand", "platform: loopback")
    assert changed != text
    folder.design.write_text(changed, encoding="utf-8")
    found = back_out_list(folder, SystemClock(), rehearsal=False, actor="the tests")
    run = asyncio.run(back_out(found.rollout, Silent(), Silent()))
    # Nobody was there to say that they removed it, and nothing has looked: it is not called gone.
    assert run.state(machine) is State.NOT_KNOWN
    assert opened_platform(folder) == "by-hand"


def opened_platform(folder: JobFolder) -> str:
    return back_out_list(folder, SystemClock(), rehearsal=False, actor="the tests").rollout.platform.name


def test_a_platform_that_is_not_installed_is_not_pinned(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    text = folder.design.read_text(encoding="utf-8")
    folder.design.write_text(text.replace("platform: by-hand", "platform: barn"), encoding="utf-8")
    with pytest.raises(InputRefused, match='there is no platform "barn"'):
        opened(folder, ROLLOUT)
    folder.design.write_text(text, encoding="utf-8")
    assert opened(folder, ROLLOUT).head.platform == "by-hand"


def test_the_newest_is_the_one_with_the_highest_number_whatever_the_clock_said(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    first = opened(folder)
    told(first, *DONE, ("cluster/book-room", Event.UNDO_STARTED), ("cluster/book-room", Event.BACKED_OUT))
    second = open_rollout(folder, REHEARSAL, clock=SetBack(), random=SystemRandom(), actor="the tests")
    assert second.head.made_at < first.head.made_at
    assert opened(folder).head == second.head


class SetBack(SystemClock):
    """The machine's clock, a week slow."""

    def now(self) -> datetime:
        return super().now() - timedelta(days=7)


def test_secrets_are_drawn_by_whoever_holds_the_lease_and_never_anew(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    late, early = opened(folder), opened(folder)
    assert early.vault.find(FIRST_PASSWORD) is None
    tools = early._tools(early.run)
    first = tools.vault.get(FIRST_PASSWORD)
    assert late._tools(late.run).vault.get(FIRST_PASSWORD) == first


def edit(folder: JobFolder, old: str, new: str) -> None:
    text = folder.design.read_text(encoding="utf-8")
    assert text.count(old) == 1
    folder.design.write_text(text.replace(old, new), encoding="utf-8")


def test_a_job_that_was_renamed_under_way_is_not_begun_a_second_time(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    told(opened(folder), *DONE)
    edit(folder, "name: levels\n", "name: sluices\n")
    with pytest.raises(NotAllowed, match=r"levels-rehearsal-1 stands in this folder"):
        opened(folder)
    edit(folder, "name: sluices\n", "name: levels\n")
    assert opened(folder).head.rollout_id == "levels-rehearsal-1"


@pytest.mark.parametrize("direction", list(Direction))
def test_room_is_never_given_back_to_the_register_of_another_estate(
    tmp_path: Path, direction: Direction
) -> None:
    folder = job_in(tmp_path)
    told(opened(folder, ROLLOUT), *DONE)
    shutil.copytree(tmp_path / "estate", tmp_path / "estate-2")
    edit(folder, "estate: ../estate\n", "estate: ../estate-2\n")
    rollout = opened(folder, ROLLOUT)
    with pytest.raises(NotAllowed, match=r"levels-rollout-1 was begun on"):
        asyncio.run(rollout.carry_on(Silent(), Silent(), direction))
    assert rollout.run().state("cluster/book-room") is State.SEEN_DONE
