"""The register on SQLite: the port's promises, two racing processes, kill -9 in the middle, refusals."""

import importlib.util
import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from types import ModuleType

import pytest

from staddle.estate.bookings import Booking, Bookings, faults_of, room_left
from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from staddle.stores.bookings import BOOKINGS_FILE
from staddle.stores.bookings_sqlite import LAYOUT, SqliteBookings

WORKER = Path(__file__).with_name("bookings_worker.py")
ROUNDS = 40
MOST_ROUNDS = 400
"""On a busy machine two processes may take turns for long."""


def _worker() -> ModuleType:
    spec = importlib.util.spec_from_file_location("bookings_worker", WORKER)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


_values = _worker()
ESTATE, NOW = _values.ESTATE, _values.NOW
MEMBER: Booking = _values.MEMBER
BATCH: tuple[Booking, ...] = _values.BATCH


def members(count: int) -> list[Booking]:
    return [replace(MEMBER, booking_id=f"b{number}") for number in range(count)]


def opened(folder: Path) -> Bookings:
    return SqliteBookings(folder, ESTATE)


def started(*arguments: str) -> subprocess.Popen[str]:
    paths = os.pathsep.join(path for path in sys.path if path)
    return subprocess.Popen(
        [sys.executable, str(WORKER), *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": paths},
    )


def test_new_register_is_empty(tmp_path: Path) -> None:
    assert opened(tmp_path).all_bookings() == ()


def test_booked_room_reads_back_the_same_in_another_opening(tmp_path: Path) -> None:
    thin = replace(MEMBER, booking_id="a", written_bytes=7, made_at=NOW + timedelta(microseconds=1))
    opened(tmp_path).book([MEMBER, thin], now=NOW)
    assert opened(tmp_path).all_bookings() == (thin, MEMBER)


def test_all_or_none(tmp_path: Path) -> None:
    store = opened(tmp_path)
    with pytest.raises(InputRefused, match="has 56 GiB of memory left, 64 GiB are asked for"):
        store.book(members(4), now=NOW)
    assert store.all_bookings() == ()


def test_another_job_gets_what_is_left_and_no_more(tmp_path: Path) -> None:
    opened(tmp_path).book(members(3), now=NOW)
    maps = replace(MEMBER, booking_id="m", job="maps")
    with pytest.raises(InputRefused, match='48 GiB are booked there for "levels"'):
        opened(tmp_path).book([maps], now=NOW)
    opened(tmp_path).book([replace(maps, host="om-h02")], now=NOW)


def test_repeat_takes_no_more_room_and_prolongs(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.book(members(3), now=NOW)
    later, sooner = NOW + timedelta(days=30), NOW + timedelta(days=1)
    store.book([replace(b, made_at=later, until=later, made_by="R. Sedge") for b in members(3)[:2]], now=NOW)
    store.book([replace(members(3)[0], until=sooner)], now=NOW)
    first, second, third = members(3)
    assert store.all_bookings() == (replace(first, until=later), replace(second, until=later), third)


def test_released_room_can_be_promised_again(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.book(members(3), now=NOW)
    store.release(["b1", "never-booked"])
    store.release(["b1"])
    store.book([replace(MEMBER, booking_id="m", job="maps")], now=NOW)
    assert [booking.booking_id for booking in store.all_bookings()] == ["b0", "b2", "m"]


def test_an_ended_booking_holds_no_room_and_gives_its_id_back(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.book(members(3), now=NOW)
    after = MEMBER.until
    again = [replace(b, host="om-h02", until=after + timedelta(days=1)) for b in members(1)]
    store.book([*again, replace(MEMBER, booking_id="m", until=after + timedelta(days=1))], now=after)
    assert {b.booking_id: b.host for b in store.all_bookings()} == {
        "b0": "om-h02",
        "b1": "om-h01",
        "b2": "om-h01",
        "m": "om-h01",
    }


def test_a_booking_that_has_ended_already_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="which is not after"):
        opened(tmp_path).book([MEMBER], now=MEMBER.until)


@pytest.fixture
def racers(tmp_path: Path) -> Iterator[list[subprocess.Popen[str]]]:
    processes = [started("race", str(tmp_path), name) for name in ("maps", "levels")]
    yield processes
    for process in processes:
        process.kill()
        process.communicate()


def test_two_processes_are_never_promised_the_same_room(
    tmp_path: Path, racers: list[subprocess.Popen[str]]
) -> None:
    both = 0
    for number in range(MOST_ROUNDS):
        if number >= ROUNDS and both:
            break
        (tmp_path / f"round-{number}").mkdir()
        for process in racers:
            assert process.stdin is not None
            process.stdin.write(f"round-{number}\n")
            process.stdin.flush()
        promised = []
        for process in racers:
            assert process.stdout is not None
            promised.append(int(process.stdout.readline()))
        booked = opened(tmp_path / f"round-{number}").all_bookings()
        # Eight were asked for; three of 16 GiB fit in 56 GiB.
        assert (sum(promised), len(booked)) == (3, 3)
        assert room_left(ESTATE, booked).hosts["om-h01"].memory_bytes >= 0
        both += 0 not in promised
    assert both > 0, "in no round did both get some: they did not race"


STATEMENTS_OF_A_BATCH = 2 + 2 * len(BATCH)  # begin, select; delete and insert for each


@pytest.mark.parametrize("point", [0, 1, 2, 3, 7, 14, STATEMENTS_OF_A_BATCH - 1, STATEMENTS_OF_A_BATCH])
def test_killed_before_the_end_nothing_is_booked(tmp_path: Path, point: int) -> None:
    _kill_at(tmp_path, point)
    left = tmp_path / f"{BOOKINGS_FILE}-journal"
    if point >= 14:
        assert left.stat().st_size > 0, "nothing had been written into the file: the kill came too early"
    assert opened(tmp_path).all_bookings() == ()
    opened(tmp_path).book(BATCH, now=NOW)  # and no lock is left behind


def test_killed_after_the_end_all_is_booked(tmp_path: Path) -> None:
    _kill_at(tmp_path, STATEMENTS_OF_A_BATCH + 1)
    assert {b.booking_id for b in opened(tmp_path).all_bookings()} == {b.booking_id for b in BATCH}
    opened(tmp_path).book(
        [replace(b, made_by="x" * 3000) for b in opened(tmp_path).all_bookings()], now=NOW
    )  # the repeat after the kill
    assert len(opened(tmp_path).all_bookings()) == len(BATCH)


def _kill_at(folder: Path, point: int) -> None:
    process = started("stop", str(folder), str(point))
    assert process.stdout is not None
    assert process.stdout.readline() == f"at {point}\n"
    process.send_signal(signal.SIGKILL)
    process.communicate()
    assert process.returncode == -signal.SIGKILL


def test_a_register_that_is_held_is_told_and_nothing_booked(tmp_path: Path) -> None:
    store = SqliteBookings(tmp_path, ESTATE, busy_timeout_s=0.05)
    with closing(sqlite3.connect(tmp_path / BOOKINGS_FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(NotAllowed) as caught:
            store.book([MEMBER], now=NOW)
        assert store.all_bookings() == ()  # reading goes on beside a writer that has not yet committed
    assert caught.value.faults[0].lines() == (
        "the register of bookings was held by another process for 0.05 s",
        f"  where: {tmp_path / BOOKINGS_FILE}",
        "  why:   one process at a time may promise room; nothing was booked or released",
        "  try:   run the same command again; if this stays, see which process has the file open",
    )
    store.book([MEMBER], now=NOW)


def test_a_reader_that_holds_on_makes_the_commit_fail_cleanly(tmp_path: Path) -> None:
    store = SqliteBookings(tmp_path, ESTATE, busy_timeout_s=0.05)
    with closing(sqlite3.connect(tmp_path / BOOKINGS_FILE, isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT * FROM bookings").fetchall()
        with pytest.raises(NotAllowed):
            store.book([MEMBER], now=NOW)
    assert store.all_bookings() == ()


def test_another_layout_is_refused(tmp_path: Path) -> None:
    opened(tmp_path)
    with closing(sqlite3.connect(tmp_path / BOOKINGS_FILE)) as file:
        file.execute(f"PRAGMA user_version = {LAYOUT + 1}")
    with pytest.raises(InputRefused, match="has layout 2, this program knows layout 1"):
        opened(tmp_path)


def test_another_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / BOOKINGS_FILE)) as file:
        file.execute("CREATE TABLE other (a)")
    with pytest.raises(InputRefused, match="has layout 0"):
        opened(tmp_path)
    with closing(sqlite3.connect(tmp_path / BOOKINGS_FILE)) as file:
        assert file.execute("SELECT name FROM sqlite_master").fetchall() == [("other",)]


def test_a_file_that_is_no_database_is_told(tmp_path: Path) -> None:
    (tmp_path / BOOKINGS_FILE).write_text("name,kind\n" * 200)
    with pytest.raises(OutsideFailed, match="cannot be read as a database"):
        opened(tmp_path)


def test_a_missing_folder_is_told(tmp_path: Path) -> None:
    with pytest.raises(OutsideFailed, match="nothing was booked or released"):
        opened(tmp_path / "none")


def test_a_network_file_system_is_refused_and_no_file_made(tmp_path: Path) -> None:
    table = "21 1 8:1 / / rw - nfs4 files.example:/ rw\n"
    with pytest.raises(InputRefused, match='network file system of the type "nfs4"'):
        SqliteBookings(tmp_path, ESTATE, mountinfo=table)
    assert list(tmp_path.iterdir()) == []


def test_between_promises_the_register_is_one_file(tmp_path: Path) -> None:
    opened(tmp_path).book([MEMBER], now=NOW)
    assert [path.name for path in tmp_path.iterdir()] == [BOOKINGS_FILE]
    with closing(sqlite3.connect(tmp_path / BOOKINGS_FILE)) as file:
        assert file.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_the_rule_is_the_one_of_the_room(tmp_path: Path) -> None:
    held, new = members(3), [replace(MEMBER, booking_id="m", pool="none", vcpus=400)]
    opened(tmp_path).book(held, now=NOW)
    with pytest.raises(InputRefused) as caught:
        opened(tmp_path).book(new, now=NOW)
    assert caught.value.faults == faults_of(new, held, ESTATE)
