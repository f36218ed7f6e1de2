"""The register of bookings as one SQLite file in the estate's folder: adapter of the port in estate/bookings.py.

The rule itself (what fits) is not in here; this file sees to it that reading, judging and writing are one
transaction, so that two processes on one machine are never promised the same room.

The rollback journal is chosen over the write-ahead log on purpose. The folder holds tables that people copy, back
up and keep under version control: without a log the register is always one whole file between transactions.
The log's gain, readers beside a writer, is worth nothing here: a promise takes milliseconds, a few times a day.
``synchronous`` is EXTRA, so that a promise outlives a loss of power right after it.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Dialect, Engine
from sqlalchemy.pool import NullPool

from staddle.estate.bookings import Booking, faults_of, standing, until_faults
from staddle.estate.model import Estate
from staddle.kernel import Fault, InputRefused, NotAllowed, OutcomeUnknown, OutsideFailed
from staddle.stores.bookings import BOOKINGS_FILE
from staddle.stores.mounts import own_mounts, refuse_shared_disk

__all__ = ["LAYOUT", "SqliteBookings"]

LAYOUT: Final = 1  # user_version of the file; raise it with every change of the table below


class _Instant(sa.types.TypeDecorator[datetime]):
    """An aware instant, kept as UTC. SQLite has no zone of its own and would hand back naive values."""

    impl = sa.DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        return None if value is None else value.replace(tzinfo=value.tzinfo or UTC)


_METADATA: Final = sa.MetaData()
_BOOKINGS: Final = sa.Table(
    "bookings",
    _METADATA,
    sa.Column("booking_id", sa.Text, primary_key=True),
    sa.Column("job", sa.Text, nullable=False),
    sa.Column("rollout", sa.Text, nullable=False),
    sa.Column("host", sa.Text, nullable=False),
    sa.Column("pool", sa.Text, nullable=False),
    sa.Column("memory_bytes", sa.BigInteger, nullable=False),
    sa.Column("vcpus", sa.BigInteger, nullable=False),
    sa.Column("disk_bytes", sa.BigInteger, nullable=False),
    sa.Column("written_bytes", sa.BigInteger, nullable=True),
    sa.Column("made_by", sa.Text, nullable=False),
    sa.Column("made_at", _Instant, nullable=False),
    sa.Column("until", _Instant, nullable=False),
)
_FIELDS: Final = tuple(column.name for column in _BOOKINGS.columns)


class SqliteBookings:
    """The register in ``<folder>/bookings.sqlite``, made at the first use.

    Args: folder: the estate's folder, on a local disk; estate: what was read from it; busy_timeout_s: how long to
        wait for another process; mountinfo: the mount table, None for this machine's own.
    Raises: InputRefused: the folder is on a network file system, or the file is of another layout.
        NotAllowed, OutsideFailed: as the methods of the port.
    """

    def __init__(
        self, folder: Path, estate: Estate, *, busy_timeout_s: float = 10.0, mountinfo: str | None = None
    ) -> None:
        refuse_shared_disk(folder, own_mounts() if mountinfo is None else mountinfo)
        self._path = folder / BOOKINGS_FILE
        self._estate = estate
        self._busy_timeout_s = busy_timeout_s
        self._engine = _engine(self._path, busy_timeout_s)
        with self._transaction("IMMEDIATE") as connection:
            self._check_layout(connection)

    def book(self, bookings: Sequence[Booking], *, now: datetime) -> None:
        """Promise all or none; see the port."""
        with self._transaction("IMMEDIATE") as connection:
            known = {booking.booking_id: booking for booking in _read(connection)}
            held = {booking.booking_id: booking for booking in standing(known.values(), now)}
            faults = (*until_faults(bookings, now), *faults_of(bookings, tuple(held.values()), self._estate))
            if faults:
                raise InputRefused(*faults)
            for booking in bookings:
                if booking.booking_id in held:
                    _prolong(connection, booking)
                    continue
                # One that has ended gives its id back: the job may go on after a long stop.
                _delete(connection, (booking.booking_id,))
                connection.execute(sa.insert(_BOOKINGS).values(_row(booking)))
                held[booking.booking_id] = booking

    def release(self, booking_ids: Sequence[str]) -> None:
        """Give room back; see the port."""
        with self._transaction("IMMEDIATE") as connection:
            _delete(connection, booking_ids)

    def all_bookings(self) -> tuple[Booking, ...]:
        """Every booking by its id; see the port."""
        with self._transaction("DEFERRED") as connection:
            return _read(connection)

    @contextmanager
    def _transaction(self, kind: str) -> Iterator[Connection]:
        """One transaction. IMMEDIATE takes the write lock before the first read: what is read stays true."""
        committing = False
        try:
            with (
                self._engine.connect().execution_options(begin=kind) as connection,
                connection.begin() as work,
            ):
                yield connection
                committing = True
                work.commit()
        except (sa.exc.DBAPIError, sqlite3.Error) as exc:
            raise self._told(exc, committing) from exc

    def _told(self, exc: Exception, committing: bool) -> NotAllowed | OutsideFailed:
        cause = exc.orig if isinstance(exc, sa.exc.DBAPIError) else exc
        code = getattr(cause, "sqlite_errorcode", 0) & 0xFF  # the low byte is the primary result code
        where = str(self._path)
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return NotAllowed.one(
                f"the register of bookings was held by another process for {self._busy_timeout_s:g} s",
                where=where,
                why="one process at a time may promise room; nothing was booked or released",
                mend="run the same command again; if this stays, see which process has the file open",
            )
        if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
            return OutsideFailed.one(
                "the register of bookings cannot be read as a database",
                where=where,
                why=str(cause),
                mend="restore it from a backup, or move it away and book again what the journals say",
            )
        if committing and code == sqlite3.SQLITE_IOERR:
            return OutcomeUnknown.one(
                "the disk failed while the register of bookings was written",
                where=where,
                why=str(cause),
                mend="mend the disk, then list the bookings before anything is repeated",
            )
        return OutsideFailed.one(
            f"the register of bookings failed: {cause}",
            where=where,
            why="nothing was booked or released",
            mend="see that the disk has room and that the folder and the file may be written",
        )

    def _check_layout(self, connection: Connection) -> None:
        version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
        tables = sa.inspect(connection).get_table_names()
        if version == 0 and not tables:
            _METADATA.create_all(connection)
            connection.exec_driver_sql(f"PRAGMA user_version = {LAYOUT}")
        elif version != LAYOUT:
            raise InputRefused(
                Fault(
                    what=f"the register of bookings has layout {version}, this program knows layout {LAYOUT}",
                    where=str(self._path),
                    why="a newer program wrote it, or it is another database",
                    mend="use the newer program, or move the file away",
                )
            )


def _engine(path: Path, busy_timeout_s: float) -> Engine:
    # No pool: a connection lives for one transaction, so no file handle is carried into a forked process.
    engine = sa.create_engine(
        sa.URL.create("sqlite", database=str(path)),
        poolclass=NullPool,
        connect_args={"timeout": busy_timeout_s},
    )

    # Python's driver would begin late, at the first INSERT; two processes would then both have read "it fits".
    @sa.event.listens_for(engine, "connect")
    def _connected(connection: Any, _record: object) -> None:  # noqa: ANN401  the driver's own connection
        connection.isolation_level = None
        connection.execute("PRAGMA synchronous = EXTRA")

    @sa.event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        connection.exec_driver_sql(f"BEGIN {connection.get_execution_options()['begin']}")

    return engine


def _read(connection: Connection) -> tuple[Booking, ...]:
    rows = connection.execute(sa.select(_BOOKINGS).order_by(_BOOKINGS.c.booking_id))
    return tuple(Booking(**row) for row in rows.mappings())


def _row(booking: Booking) -> dict[str, object]:
    return {field: getattr(booking, field) for field in _FIELDS}


def _prolong(connection: Connection, booking: Booking) -> None:
    c = _BOOKINGS.c
    connection.execute(
        sa.update(_BOOKINGS)
        .where(c.booking_id == booking.booking_id, c.until < booking.until)
        .values(until=booking.until)
    )


def _delete(connection: Connection, booking_ids: Sequence[str]) -> None:
    for booking_id in booking_ids:  # one by one: a list of any length, below every limit of bound values
        connection.execute(sa.delete(_BOOKINGS).where(_BOOKINGS.c.booking_id == booking_id))
