"""The room of a rollout that goes on: a promise that ended or was lost is made again before anything more is delivered."""

import asyncio
from datetime import timedelta
from pathlib import Path

import pytest

from staddle.estate.bookings import Booking
from staddle.jobs.rollouts import REHEARSAL, OpenRollout
from staddle.kernel import InputRefused
from staddle.rollout.journal import Entry
from staddle.rollout.states import Event
from staddle.stores.bookings import BOOKINGS_FILE
from staddle.stores.bookings_sqlite import SqliteBookings
from tests.jobs.test_rollouts_standing import DONE, job_in, opened, told
from tests.rollout.loopback_job import Silent

GIB = 1 << 30


class NothingToDo(Silent):
    """Ends the run with its first entry: only what comes before it is asked about here."""

    def recorded(self, entry: Entry, run: object) -> None:
        raise KeyboardInterrupt


def booked(tmp_path: Path) -> OpenRollout:
    rollout = opened(job_in(tmp_path), REHEARSAL)
    rollout.workbench.room.book(rollout.head.plan.rooms, rollout.head.plan.tag)
    told(rollout, *DONE)
    return rollout


def carry(rollout: OpenRollout) -> None:
    nobody = NothingToDo()
    with pytest.raises(KeyboardInterrupt):
        asyncio.run(rollout.carry_on(nobody, nobody))


def register_of(rollout: OpenRollout) -> SqliteBookings:
    return SqliteBookings(rollout.job.folder.loopback, rollout.job.reading.estate)


def test_a_register_that_was_lost_gets_the_promise_again(tmp_path: Path) -> None:
    rollout = booked(tmp_path)
    before = register_of(rollout).all_bookings()
    assert before
    (rollout.job.folder.loopback / BOOKINGS_FILE).unlink()
    again = opened(rollout.job.folder)
    carry(again)
    assert [b.booking_id for b in register_of(again).all_bookings()] == [b.booking_id for b in before]


def test_room_that_is_promised_to_another_by_now_stops_the_run_before_anything_is_made(
    tmp_path: Path,
) -> None:
    rollout = booked(tmp_path)
    register = register_of(rollout)
    mine = register.all_bookings()
    register.release([b.booking_id for b in mine])
    now = rollout.clock.now()
    host = {h.name: h for h in rollout.job.reading.estate.hosts}[rollout.head.plan.members[0].host]
    used = sum(g.memory_bytes for g in rollout.job.reading.estate.guests if g.host == host.name)
    left = host.memory_bytes - host.reserved_memory_bytes - used
    other = Booking(
        booking_id="other/1",
        job="gauges",
        rollout="gauges-rollout-1",
        host=host.name,
        pool="",
        memory_bytes=left - GIB,
        vcpus=0,
        disk_bytes=0,
        made_by="R. Fenwold",
        made_at=now,
        until=now + timedelta(days=1),
    )
    register.book([other], now=now)
    again = opened(rollout.job.folder)
    nobody = NothingToDo()
    with pytest.raises(InputRefused, match=rf'host "{host.name}" has 1 GiB of memory left'):
        asyncio.run(again.carry_on(nobody, nobody))
    assert register.all_bookings() == (other,)


def test_once_every_machine_is_there_no_promise_is_asked_for(tmp_path: Path) -> None:
    rollout = booked(tmp_path)
    register = register_of(rollout)
    register.release([b.booking_id for b in register.all_bookings()])
    machines = [s.step_id for s in rollout.head.plan.steps if s.kind == "create-machine"]
    told(rollout, *((m, event) for m in machines for event in (Event.STARTED, Event.SEEN)))
    carry(opened(rollout.job.folder))
    assert register.all_bookings() == ()
