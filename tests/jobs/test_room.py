"""RegisterRoom: what it books, that a repeat is harmless, that it gives back exactly its own. On the real register."""

import sqlite3
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from staddle.jobs.room import RegisterRoom
from staddle.kernel import InputRefused, OutcomeUnknown, OutsideFailed
from staddle.plan.looks import NotYet, Seen
from staddle.plan.orders import RoomOrder
from staddle.stores.bookings import BOOKINGS_FILE
from staddle.stores.bookings_sqlite import SqliteBookings
from tests.stores.bookings_worker import ESTATE, GB, GIB, MEMBER, NOW

TAG = "staddle/levels-rollout-1/0123456789"
UNTIL = NOW + timedelta(days=30)


class At:
    """A clock that stands where a test puts it."""

    def __init__(self, now: datetime) -> None:
        self.instant = now

    def now(self) -> datetime:
        return self.instant

    async def sleep(self, seconds: float) -> None:
        raise AssertionError("the register never waits")


def order(member: str, host: str, *pools: tuple[str, int, int], gib: int = 16) -> RoomOrder:
    return RoomOrder(member=member, host=host, memory_bytes=gib * GIB, vcpus=4, pools=pools)


ROOMS = (
    order("levels-1", "om-h01", ("om-pool", 176 * GB, 40 * GB)),
    order("levels-2", "om-h02"),
)


def room_at(folder: Path, clock: At, *, busy_timeout_s: float = 10.0) -> tuple[RegisterRoom, SqliteBookings]:
    register = SqliteBookings(folder, ESTATE, busy_timeout_s=busy_timeout_s)
    room = RegisterRoom(
        register, clock, job="levels", rollout="levels-rollout-1", by="R. Fenwold", until=UNTIL
    )
    return room, register


def test_what_is_booked_is_every_members_memory_once_and_each_pool(tmp_path: Path) -> None:
    room, register = room_at(tmp_path, At(NOW))
    assert room.look(ROOMS, TAG) == NotYet(why="2 of 2 bookings are not in the register")
    room.book(ROOMS, TAG)
    assert room.look(ROOMS, TAG) == Seen(
        evidence={
            "bookings": [f"{TAG}/levels-1/om-pool", f"{TAG}/levels-2/memory"],
            "until": "2026-12-25T09:00:00+00:00",
        }
    )
    first, second = sorted(register.all_bookings(), key=lambda booking: booking.host)
    assert (first.memory_bytes, first.vcpus, first.disk_bytes, first.written_bytes) == (
        16 * GIB,
        4,
        176 * GB,
        40 * GB,
    )
    assert (second.pool, second.memory_bytes, second.disk_bytes) == ("", 16 * GIB, 0)
    assert {(b.job, b.rollout, b.made_by) for b in (first, second)} == {
        ("levels", "levels-rollout-1", "R. Fenwold")
    }


def test_booking_twice_takes_no_more_room(tmp_path: Path) -> None:
    room, register = room_at(tmp_path, At(NOW))
    room.book(ROOMS, TAG)
    once = register.all_bookings()
    room.book(ROOMS, TAG)
    assert register.all_bookings() == once


def test_looking_changes_nothing(tmp_path: Path) -> None:
    room, _ = room_at(tmp_path, At(NOW))
    room.book(ROOMS, TAG)
    once = (tmp_path / BOOKINGS_FILE).read_bytes()
    room.look(ROOMS, TAG)
    room.look_released(TAG)
    assert (tmp_path / BOOKINGS_FILE).read_bytes() == once


def test_a_booking_for_other_room_or_one_whose_end_has_come_does_not_count(tmp_path: Path) -> None:
    clock = At(NOW)
    room, _ = room_at(tmp_path, clock)
    room.book(ROOMS, TAG)
    more = (replace(ROOMS[0], memory_bytes=17 * GIB), ROOMS[1])
    assert room.look(more, TAG) == NotYet(why="1 of 2 bookings are not in the register")
    clock.instant = UNTIL
    assert room.look(ROOMS, TAG) == NotYet(why="2 of 2 bookings are not in the register")


def test_release_gives_back_exactly_what_carries_the_tag(tmp_path: Path) -> None:
    room, register = room_at(tmp_path, At(NOW))
    others = (MEMBER, replace(MEMBER, booking_id=f"{TAG}0/levels-1/memory", memory_bytes=GIB))
    register.book(others, now=NOW)
    room.book(ROOMS, TAG)
    assert room.look_released(TAG) == NotYet(why="2 bookings are left")
    for _ in range(2):
        room.release(TAG)
        assert set(register.all_bookings()) == set(others)
        assert room.look_released(TAG) == Seen(evidence={"left": "no booking"})


def test_room_that_is_not_there_is_refused_whole(tmp_path: Path) -> None:
    room, register = room_at(tmp_path, At(NOW))
    with pytest.raises(InputRefused) as caught:
        room.book((ROOMS[0], order("levels-3", "om-h02", gib=60)), TAG)
    assert str(caught.value) == (
        'error: host "om-h02" has 56 GiB of memory left, 60 GiB are asked for\n'
        "  why:   of 64 GiB it keeps 8 GiB; nothing is booked there\n"
        "  try:   take another host, or have a booking released"
    )
    assert register.all_bookings() == ()


def test_a_register_that_somebody_holds_means_that_nothing_happened(tmp_path: Path) -> None:
    room, register = room_at(tmp_path, At(NOW), busy_timeout_s=0.1)
    room.book(ROOMS, TAG)
    holder = sqlite3.connect(tmp_path / BOOKINGS_FILE, isolation_level=None)
    try:
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(OutsideFailed) as booking:
            room.book(ROOMS, f"{TAG}1")
        with pytest.raises(OutsideFailed) as releasing:
            room.release(TAG)
        for caught in (booking, releasing):
            assert not isinstance(caught.value, OutcomeUnknown)
        assert isinstance(room.look_released(TAG), NotYet)
        holder.execute("ROLLBACK")
    finally:
        holder.close()
    assert len(register.all_bookings()) == 2


def test_the_end_that_is_told_is_the_one_that_stands_in_the_register(tmp_path: Path) -> None:
    room, register = room_at(tmp_path, At(NOW))
    room.book(ROOMS, TAG)
    later = RegisterRoom(
        register,
        At(NOW + timedelta(days=7)),
        job="levels",
        rollout="levels-rollout-1",
        by="R. Fenwold",
        until=UNTIL + timedelta(days=7),
    )
    look = later.look(ROOMS, TAG)
    assert isinstance(look, Seen)
    assert look.evidence["until"] == UNTIL.isoformat()
