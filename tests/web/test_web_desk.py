"""The desk at which a rollout works in the server: cards, signatures, hold, faults; and the events that tell of it."""

import asyncio
import http.client
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from staddle.jobs.folder import find_job
from staddle.jobs.journal import all_journals
from staddle.kernel import NotAllowed, SystemClock, SystemRandom
from staddle.rollout.states import State
from staddle.web.desk import AtWork, Desk
from tests.cli.demo_job import demo_job, open_window, settle
from tests.web.served import served

DEADLINE_S = 180


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = open_window(demo_job(tmp_path))
    settle(folder)
    return folder


@pytest.fixture
def desk(job: Path) -> Iterator[Desk]:
    made = Desk(find_job(job), SystemClock(), SystemRandom(), "W. Marram")
    yield made
    assert made.close(timeout_s=DEADLINE_S)


def wait_for(desk: Desk, seen: Callable[[AtWork], bool]) -> AtWork:
    """The desk once it is so, as a page waits for it."""

    async def waited() -> AtWork:
        async with asyncio.timeout(DEADLINE_S):
            version = -1
            while not seen(now := desk.now()):
                version = await desk.wait_beyond(version, timeout_s=DEADLINE_S)
        return now

    return asyncio.run(waited())


def test_cards_wait_until_they_are_signed_and_a_hold_leaves_the_journal_to_go_on_from(
    desk: Desk, job: Path
) -> None:
    desk.go_on("rollout")
    cards = wait_for(desk, lambda now: len(now.cards) == 6).cards
    assert [one.number for one in cards] == sorted(one.number for one in cards)
    with pytest.raises(NotAllowed, match="a rollout is at work already"):
        desk.go_on("rehearsal")
    desk.sign("levels-2/deliver-disk/data", by="J. Harrow", entry="by the night train")
    wait_for(desk, lambda now: len(now.cards) == 5)
    with pytest.raises(NotAllowed, match="this card is not open any more"):
        desk.sign("levels-2/deliver-disk/data", by="J. Harrow", entry="")
    desk.leave("levels-3/deliver-disk/data")
    with pytest.raises(NotAllowed, match="no open card asks for that secret"):
        desk.reveal("levels-1/deliver-disk/data", "administrator/first")
    wait_for(desk, lambda now: len(now.cards) == 4)
    done = "levels-2/deliver-disk/data"
    wait_for(desk, lambda _: all_journals(find_job(job))[-1].run.state(done) is State.SEEN_DONE)
    desk.hold()
    after = wait_for(desk, lambda now: not now.is_busy)
    assert (after.cards, after.faults, after.purpose) == ((), (), "rollout")
    run = all_journals(find_job(job))[-1].run
    signed = run.known[done]
    assert (signed.evidence["signed_by"], signed.evidence["note"]) == ("J. Harrow", "by the night train")
    assert len(run.in_state(State.AWAITS_PERSON)) == 5

    desk.go_on("rollout")
    again = wait_for(desk, lambda now: len(now.cards) == 5).cards
    assert "levels-2/deliver-disk/data" not in [one.step.step_id for one in again]


def test_a_secret_is_shown_only_while_its_card_is_open(desk: Desk, job: Path) -> None:
    desk.go_on("rollout")
    wait_for(desk, lambda now: len(now.cards) == 6)
    for disk in ("system", "data"):
        desk.sign(f"levels-1/deliver-disk/{disk}", by="J. Harrow", entry="")
    wait_for(desk, lambda now: any(one.step.kind == "create-machine" for one in now.cards))
    desk.sign("levels-1/create-machine", by="J. Harrow", entry="")
    at = "levels-1/attach-answers"
    card = next(
        one.card
        for one in wait_for(desk, lambda now: any(c.step.step_id == at for c in now.cards)).cards
        if one.step.step_id == at
    )
    ((_, name),) = card.secret_values
    secret = desk.reveal(at, name).unsafe_reveal()
    assert len(secret) >= 12
    assert secret not in repr(desk.now())
    desk.sign(at, by="J. Harrow", entry="")
    wait_for(desk, lambda now: all(c.step.step_id != at for c in now.cards))
    with pytest.raises(NotAllowed):
        desk.reveal(at, name)


def test_why_it_could_not_begin_is_told(tmp_path: Path) -> None:
    desk = Desk(find_job(open_window(demo_job(tmp_path))), SystemClock(), SystemRandom(), "W. Marram")
    desk.go_on("rollout")
    after = wait_for(desk, lambda now: not now.is_busy)
    assert [fault.what for fault in after.faults] == ["there is no settled placement that is valid"]


def test_the_change_gate_refuses_here_as_anywhere(tmp_path: Path) -> None:
    folder = demo_job(tmp_path)  # its only window is ten days ahead
    settle(folder)
    desk = Desk(find_job(folder), SystemClock(), SystemRandom(), "W. Marram")
    desk.go_on("rollout")
    after = wait_for(desk, lambda now: not now.is_busy)
    assert [fault.what for fault in after.faults] == ["no window is open now"]
    assert all_journals(find_job(folder)) == ()


def test_a_hold_before_the_package_was_read_holds_too(desk: Desk, job: Path) -> None:
    desk.go_on("rollout")
    desk.hold()
    assert wait_for(desk, lambda now: not now.is_busy).faults == ()
    assert all(
        one.state is State.TO_DO or one.tries <= 1
        for r in all_journals(find_job(job))
        for one in r.run.known.values()
    )


def test_whoever_waits_is_told_from_another_thread_or_comes_back_in_time(desk: Desk) -> None:
    before = desk.version
    assert asyncio.run(desk.wait_beyond(before, timeout_s=0.01)) == before

    async def waited() -> int:
        threading.Timer(0.05, desk.go_on, ("rollout",)).start()
        return await desk.wait_beyond(before, timeout_s=DEADLINE_S)

    assert asyncio.run(waited()) > before


def test_events_tell_that_something_changed(job: Path) -> None:
    # HTML, server-sent events: lines of "field: value", an empty line ends one.
    with served(job) as server:
        wire = http.client.HTTPConnection("127.0.0.1", server.port, timeout=DEADLINE_S)
        wire.request("GET", "/run/live", headers={"Host": server.host, "Cookie": server.cookie})
        stream = wire.getresponse()
        assert (stream.status, stream.getheader("content-type")) == (200, "text/event-stream; charset=utf-8")

        def next_version() -> int:
            for line in iter(stream.readline, b""):
                if line.startswith(b"data: "):
                    return int(line.removeprefix(b"data: "))
            raise AssertionError("the stream ended")

        first = next_version()
        assert server.post("/run/begin", {"of": "rollout", "agreed": "yes"}).status == 303
        assert next_version() > first
        wire.close()
        assert server.get("/standing/live").status == 404
