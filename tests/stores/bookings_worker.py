"""A process that books, for the tests of the register: races with others, or is killed at a chosen moment.

Run as: bookings_worker.py race FOLDER NAME    plays one round for each line on its input
        bookings_worker.py stop FOLDER POINT         says "at POINT" there and waits to be killed
"""

import sqlite3
import sys
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from staddle.estate.bookings import Booking
from staddle.estate.model import Domain, Estate, Host, Pool
from staddle.kernel import InputRefused
from staddle.stores.bookings_sqlite import SqliteBookings

GIB, GB = 1024**3, 1000**3
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
ESTATE = Estate(
    name="Test",
    surveyed=date(2026, 11, 2),
    surveyed_by="W. Marram",
    domains=(Domain(name="Ousemoor", kind="site"),),
    hosts=tuple(
        Host(
            name=f"om-h{number:02}",
            domains=("Ousemoor",),
            cores=64,
            memory_bytes=64 * GIB,
            reserved_memory_bytes=8 * GIB,
            vcpu_per_core=1.0,
            cpu_level="",
            networks=(),
            pools=("om-pool",),
        )
        for number in (1, 2)
    ),
    pools=(
        Pool(
            name="om-pool",
            domains=(),
            capacity_bytes=10_000 * GB,
            used_bytes=0,
            promised_bytes=0,
            floor_percent=15.0,
        ),
    ),
    networks=(),
    guests=(),
)
MEMBER = Booking(
    booking_id="b",
    job="levels",
    rollout="r1",
    host="om-h01",
    pool="om-pool",
    memory_bytes=16 * GIB,  # three of them fit in 64 - 8 GiB
    vcpus=4,
    disk_bytes=176 * GB,
    made_by="W. Marram",
    made_at=NOW,
    until=NOW + timedelta(days=14),
)
BATCH = tuple(replace(MEMBER, booking_id=f"batch-{i}", memory_bytes=GIB, vcpus=1) for i in range(12))


def race(folder: Path, name: str) -> None:
    """For each line read: four times ask for room of which three fit, and print how many were promised."""
    for line in sys.stdin:
        store = SqliteBookings(folder / line.strip(), ESTATE)
        promised = [_fits(store, replace(MEMBER, booking_id=f"{name}-{i}", job=name)) for i in range(4)]
        _say(str(sum(promised)))


def _fits(store: SqliteBookings, wanted: Booking) -> bool:
    try:
        store.book([wanted], now=NOW)
    except InputRefused as exc:
        if "of memory left" not in str(exc):
            raise
        return False
    return True


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def stop(folder: Path, point: int) -> None:
    """Book a batch; at the given point, counted in statements and in commits, say so and wait for the end."""
    store = SqliteBookings(folder, ESTATE)
    seen = 0

    def passed() -> None:
        nonlocal seen
        if seen == point:
            _say(f"at {point}")
            sys.stdin.read()
        seen += 1

    @sa.event.listens_for(Engine, "connect")
    def _small_cache(connection: sqlite3.Connection, _record: object) -> None:
        # Pages spill into the file before the commit, so that what the kill leaves behind must be rolled back.
        connection.execute("PRAGMA cache_size = 1")
        connection.execute("PRAGMA cache_spill = 1")

    @sa.event.listens_for(Engine, "after_cursor_execute")
    def _statement(*_: object) -> None:
        passed()

    @sa.event.listens_for(Engine, "commit")
    def _commit(_: object) -> None:
        passed()

    long = "x" * 3000
    store.book([replace(b, made_by=long) for b in BATCH], now=NOW)
    passed()
    _say(f"done {seen}")


if __name__ == "__main__":
    if sys.argv[1] == "race":
        race(Path(sys.argv[2]), sys.argv[3])
    else:
        stop(Path(sys.argv[2]), int(sys.argv[3]))
