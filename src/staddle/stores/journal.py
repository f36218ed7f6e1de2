"""The journal on a database: the Store port on SQLAlchemy Core. Every method is one transaction.

A write checks the lease in the same transaction as it writes (fencing): a runner whose epoch is old, or whose
lease has ended, cannot record anything, however late its write arrives.
"""

import hashlib
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

import sqlalchemy as sa

from staddle.kernel import (
    InputRefused,
    NotAllowed,
    OurFault,
    OutcomeUnknown,
    OutsideFailed,
    canonical_json,
    digest_of,
    from_json,
)
from staddle.rollout.journal import Entry, Lease, LeaseLost, Recorded, RolloutHead, leaf_hash
from staddle.rollout.states import Event
from staddle.stores.schema import HEAD, entries, leases, rollouts

__all__ = ["SqlStore", "open_sqlite"]

_BUSY_S: Final = 20


def open_sqlite(path: Path) -> "SqlStore":
    """The journal in one SQLite file on a local disk, made or brought up to date as needed.

    Raises: OutsideFailed: the file cannot be opened or is not a database; NotAllowed: a newer program made it.
    """
    engine = sa.create_engine(f"sqlite:///{path}", connect_args={"timeout": _BUSY_S, "isolation_level": None})

    @sa.event.listens_for(engine, "connect")
    def _prepare(connection: object, _record: object) -> None:
        cursor = connection.cursor()  # type: ignore[attr-defined]  # the driver's own connection
        cursor.execute("PRAGMA journal_mode=WAL")  # readers never wait for the runner
        cursor.execute("PRAGMA synchronous=FULL")  # an entry that was recorded survives a power cut
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.close()

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        # Without this the driver begins late and two writers could both believe that they hold the lease.
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    store = SqlStore(engine, where=str(path))
    store.bring_up_to_date()
    return store


class SqlStore:
    """The Store port on SQLAlchemy Core. Written for SQLite and PostgreSQL; so far tried on SQLite only."""

    def __init__(self, engine: sa.Engine, *, where: str) -> None:
        self._engine = engine
        self._where = where

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def bring_up_to_date(self) -> None:
        """Run the migrations that are missing."""
        try:
            with self._engine.connect() as connection:
                has_tables = sa.inspect(connection).has_table("alembic_version")
                found = (
                    connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
                    if has_tables
                    else None
                )
            if found == HEAD:
                return
            if found is not None and found > HEAD:
                raise NotAllowed.one(
                    f"the journal has revision {found}, this program knows {HEAD}",
                    where=self._where,
                    why="a newer staddle has written it",
                    mend="use that version, or a copy of the journal from before",
                )
            self._migrate()
        except sa.exc.DatabaseError as exc:
            raise OutsideFailed.one(
                f"the journal cannot be opened: {exc.orig}",
                where=self._where,
                why="it is not a database, is damaged, or its folder does not let us write",
                mend="check rights and free space; records/ holds the exported journal of earlier rollouts",
            ) from exc

    def _migrate(self) -> None:
        # Only a new or an old journal pays for this import.
        from alembic import command
        from alembic.config import Config

        config = Config()
        config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
        config.set_main_option("path_separator", "os")
        with self._engine.begin() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def create_rollout(self, head: RolloutHead) -> None:
        body = canonical_json(head)
        with self._transaction() as connection:
            known = connection.execute(
                sa.select(rollouts.c.job).where(rollouts.c.rollout_id == head.rollout_id)
            ).first()
            if known is not None:
                raise NotAllowed.one(f'a rollout "{head.rollout_id}" exists already', where=self._where)
            connection.execute(
                rollouts.insert().values(
                    rollout_id=head.rollout_id,
                    job=head.job,
                    purpose=head.purpose,
                    made_at=_text(head.made_at),
                    head=body,
                    head_sha256=digest_of(head),
                )
            )
            connection.execute(
                leases.insert().values(
                    rollout_id=head.rollout_id, holder="", epoch=0, until=_text(head.made_at)
                )
            )

    def get_rollout(self, rollout_id: str) -> RolloutHead:
        with self._transaction() as connection:
            row = connection.execute(
                sa.select(rollouts.c.head, rollouts.c.head_sha256).where(rollouts.c.rollout_id == rollout_id)
            ).first()
        if row is None:
            raise InputRefused.one(
                f'the journal has no rollout "{rollout_id}"', where=self._where, mend="see staddle journal"
            )
        # Of the bytes as they were stored: read and written again they would hold what later versions added.
        if hashlib.sha256(row.head).hexdigest() != row.head_sha256:
            raise OurFault.one(
                f'the plan of rollout "{rollout_id}" does not have its digest', where=self._where
            )
        return from_json(row.head, RolloutHead, where=self._where)

    def rollouts(self, job: str | None = None) -> tuple[RolloutHead, ...]:
        with self._transaction() as connection:
            found = connection.execute(
                sa.select(rollouts.c.rollout_id)
                .where(sa.true() if job is None else rollouts.c.job == job)
                .order_by(rollouts.c.made_at, rollouts.c.rollout_id)
            ).scalars()
            names = list(found)
        return tuple(self.get_rollout(name) for name in names)

    def take_lease(
        self, rollout_id: str, *, holder: str, now: datetime, span: timedelta, is_gone: Callable[[str], bool]
    ) -> Lease:
        with self._transaction() as connection:
            row = connection.execute(
                sa.select(leases).where(leases.c.rollout_id == rollout_id).with_for_update()
            ).first()
            if row is None:
                raise InputRefused.one(f'the journal has no rollout "{rollout_id}"', where=self._where)
            taken = row.holder and _time(row.until) > now and not is_gone(row.holder)
            # No lease ends later than a span from now unless a clock was set back since. Its holder, if it lives,
            # renews it within the span; if not, it ends then instead of when the clock comes round again.
            until = min(_time(row.until), now + span) if taken else now + span
            lease = Lease(
                rollout_id=rollout_id,
                holder=row.holder if taken else holder,
                epoch=row.epoch if taken else row.epoch + 1,
                until=until,
            )
            connection.execute(
                leases.update()
                .where(leases.c.rollout_id == rollout_id)
                .values(holder=lease.holder, epoch=lease.epoch, until=_text(until))
            )
        if taken:
            raise NotAllowed.one(
                f"this rollout is being carried out by {lease.holder}",
                where=self._where,
                why=f"its lease holds until {_text(until)} and is renewed while it works",
                mend="let it finish; if it has died on another machine, try again after that time",
            )
        return lease

    def renew_lease(self, lease: Lease, *, now: datetime, span: timedelta) -> Lease:
        with self._transaction() as connection:
            self._hold(connection, lease, now)
            connection.execute(
                leases.update().where(leases.c.rollout_id == lease.rollout_id).values(until=_text(now + span))
            )
        return Lease(rollout_id=lease.rollout_id, holder=lease.holder, epoch=lease.epoch, until=now + span)

    def release_lease(self, lease: Lease) -> None:
        with self._transaction() as connection:
            connection.execute(
                leases.update()
                .where(leases.c.rollout_id == lease.rollout_id, leases.c.epoch == lease.epoch)
                .values(holder="")
            )

    def append(self, lease: Lease, new: Sequence[Entry], *, now: datetime) -> tuple[Recorded, ...]:
        with self._transaction() as connection:
            self._hold(connection, lease, now)
            last = connection.execute(
                sa.select(sa.func.max(entries.c.seq)).where(entries.c.rollout_id == lease.rollout_id)
            ).scalar()
            recorded = []
            for seq, entry in enumerate(new, (last or 0) + 1):
                leaf = leaf_hash(lease.rollout_id, seq, lease.epoch, entry)
                recorded.append(Recorded(seq=seq, epoch=lease.epoch, entry=entry, leaf_hash=leaf))
                connection.execute(
                    entries.insert().values(
                        rollout_id=lease.rollout_id,
                        seq=seq,
                        at=_text(entry.at),
                        site=entry.site,
                        actor=entry.actor,
                        epoch=lease.epoch,
                        step_id=entry.step_id,
                        event=entry.event.value,
                        intent=entry.intent,
                        evidence=canonical_json(entry.evidence),
                        leaf_hash=leaf,
                    )
                )
        return tuple(recorded)

    def entries(self, rollout_id: str) -> tuple[Recorded, ...]:
        with self._transaction() as connection:
            rows = connection.execute(
                sa.select(entries).where(entries.c.rollout_id == rollout_id).order_by(entries.c.seq)
            ).all()
        return tuple(
            Recorded(
                seq=row.seq,
                epoch=row.epoch,
                entry=Entry(
                    step_id=row.step_id,
                    event=Event(row.event),
                    at=_time(row.at),
                    actor=row.actor,
                    site=row.site,
                    intent=row.intent,
                    evidence=from_json(row.evidence, dict[str, object], where=self._where),
                ),
                leaf_hash=row.leaf_hash,
            )
            for row in rows
        )

    @contextmanager
    def _transaction(self) -> Iterator[sa.Connection]:
        """One transaction. What the database says when it fails is told as ours, so that every caller can go on it."""
        committing = False
        try:
            with self._engine.begin() as connection:
                yield connection
                committing = True
        except sa.exc.DBAPIError as exc:
            raise self._told(exc, committing) from exc

    def _told(self, exc: sa.exc.DBAPIError, committing: bool) -> NotAllowed | OutsideFailed:
        code = getattr(exc.orig, "sqlite_errorcode", 0) & 0xFF  # the low byte is the primary result code
        if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
            return NotAllowed.one(
                f"the journal was held by another process for {_BUSY_S} s",
                where=self._where,
                why="nothing was recorded",
                mend="run the same command again; if this stays, see which process has the file open",
            )
        if committing and code not in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY):
            return OutcomeUnknown.one(
                f"the journal failed while it was written: {exc.orig}",
                where=self._where,
                mend="mend the disk, then run the same command again: it looks before it repeats anything",
            )
        return OutsideFailed.one(
            f"the journal failed: {exc.orig}",
            where=self._where,
            why="nothing was recorded",
            mend="see that the disk has room and that folder and file may be written, then run the same command again",
        )

    def _hold(self, connection: sa.Connection, lease: Lease, now: datetime) -> None:
        row = connection.execute(
            sa.select(leases).where(leases.c.rollout_id == lease.rollout_id).with_for_update()
        ).first()
        if row is None or row.epoch != lease.epoch or row.holder != lease.holder or _time(row.until) <= now:
            raise LeaseLost.one(
                "the lease of this rollout was lost",
                where=self._where,
                why="another runner took over, or this one was held up beyond the end of its lease",
                mend="run the same command again: it looks first and repeats nothing that was done",
            )


def _text(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat(timespec="microseconds")


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text)
