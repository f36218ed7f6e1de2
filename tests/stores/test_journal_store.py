"""The Store port: one suite for every database. Real files, real processes, real migrations."""

import json
import multiprocessing
import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from staddle.rollout.journal import Entry, LeaseLost, RolloutHead, Store, leaf_hash
from staddle.rollout.states import Event
from staddle.stores.journal import SqlStore, open_sqlite
from staddle.stores.schema import HEAD, metadata
from tests.rollout.plans import plan_of

NOW = datetime(2026, 12, 5, 20, tzinfo=UTC)
SPAN = timedelta(seconds=30)


def head_of(name: str = "levels-rollout-1") -> RolloutHead:
    return RolloutHead(
        rollout_id=name,
        job="levels",
        purpose="rollout",
        made_at=NOW,
        made_by="R. Fenwold",
        inputs={"design": "0" * 64},
        plan=plan_of(),
    )


def entry_of(event: Event = Event.STARTED, step_id: str = "cluster/verify-package") -> Entry:
    return Entry(
        step_id=step_id,
        event=event,
        at=NOW,
        actor="R. Fenwold",
        site="Ousemoor",
        intent="x",
        evidence={"n": 1},
    )


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_sqlite(tmp_path / "journal.sqlite")
    opened.create_rollout(head_of())
    yield opened
    opened.close()


def never(holder: str) -> bool:
    return False


def test_a_rollout_reads_back_as_it_was_made(store: Store) -> None:
    assert store.get_rollout("levels-rollout-1") == head_of()
    assert store.rollouts("levels") == (head_of(),)
    assert store.rollouts("other") == ()


def test_a_rollout_cannot_be_made_twice(store: Store) -> None:
    with pytest.raises(NotAllowed, match='a rollout "levels-rollout-1" exists already'):
        store.create_rollout(head_of())


def test_an_unknown_rollout_is_refused(store: Store) -> None:
    with pytest.raises(InputRefused, match='the journal has no rollout "x"'):
        store.get_rollout("x")


def test_entries_read_back_in_order_with_their_hash(store: Store) -> None:
    lease = store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    first = store.append(lease, [entry_of(), entry_of(Event.SEEN)], now=NOW)
    second = store.append(lease, [entry_of(step_id="cluster/book-room")], now=NOW)
    assert store.entries("levels-rollout-1") == first + second
    assert [r.seq for r in first + second] == [1, 2, 3]
    assert first[0].leaf_hash == leaf_hash("levels-rollout-1", 1, lease.epoch, entry_of())
    assert len({r.leaf_hash for r in first + second}) == 3


def test_a_second_holder_waits_until_the_lease_ends_and_gets_a_higher_epoch(store: Store) -> None:
    first = store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    with pytest.raises(NotAllowed, match="this rollout is being carried out by a"):
        store.take_lease(
            "levels-rollout-1",
            holder="b",
            now=NOW + SPAN - timedelta(microseconds=1),
            span=SPAN,
            is_gone=never,
        )
    second = store.take_lease("levels-rollout-1", holder="b", now=NOW + SPAN, span=SPAN, is_gone=never)
    assert second.epoch == first.epoch + 1


def test_a_holder_that_is_known_to_be_gone_is_taken_over_at_once(store: Store) -> None:
    store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    asked: list[str] = []

    def gone(holder: str) -> bool:
        asked.append(holder)
        return True

    assert store.take_lease("levels-rollout-1", holder="b", now=NOW, span=SPAN, is_gone=gone).holder == "b"
    assert asked == ["a"]


def test_a_released_lease_is_free(store: Store) -> None:
    store.release_lease(store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never))
    store.take_lease("levels-rollout-1", holder="b", now=NOW, span=SPAN, is_gone=never)


def test_releasing_a_lost_lease_does_not_free_the_new_holders(store: Store) -> None:
    old = store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    store.take_lease("levels-rollout-1", holder="b", now=NOW + SPAN, span=SPAN, is_gone=never)
    store.release_lease(old)
    with pytest.raises(NotAllowed, match="carried out by b"):
        store.take_lease("levels-rollout-1", holder="c", now=NOW + SPAN, span=SPAN, is_gone=never)


@pytest.mark.parametrize(
    "late",
    [
        pytest.param(
            lambda s, lease: s.append(lease, [entry_of()], now=NOW + SPAN), id="append after the end"
        ),
        pytest.param(
            lambda s, lease: s.renew_lease(lease, now=NOW + SPAN, span=SPAN), id="renew after the end"
        ),
        pytest.param(
            lambda s, lease: s.append(replace(lease, epoch=0), [entry_of()], now=NOW), id="an old epoch"
        ),
    ],
)
def test_who_lost_the_lease_records_nothing(store: Store, late: Callable[[Store, object], object]) -> None:
    lease = store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    with pytest.raises(LeaseLost) as caught:
        late(store, lease)
    assert "error: the lease of this rollout was lost" in str(caught.value)
    assert "run the same command again: it looks first and repeats nothing that was done" in str(caught.value)
    assert store.entries("levels-rollout-1") == ()


def test_a_renewed_lease_holds_longer(store: Store) -> None:
    lease = store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    renewed = store.renew_lease(lease, now=NOW + SPAN / 2, span=SPAN)
    assert renewed.until == NOW + SPAN / 2 + SPAN
    store.append(lease, [entry_of()], now=NOW + SPAN)


def test_a_batch_is_recorded_whole_or_not_at_all(store: Store) -> None:
    lease = store.take_lease("levels-rollout-1", holder="a", now=NOW, span=SPAN, is_gone=never)
    bad = replace(entry_of(), evidence={"n": object()})
    with pytest.raises(TypeError):
        store.append(lease, [entry_of(), bad], now=NOW)
    assert store.entries("levels-rollout-1") == ()


def test_the_migrations_make_exactly_the_tables_of_the_schema(tmp_path: Path) -> None:
    migrated = open_sqlite(tmp_path / "a.sqlite")
    engine = sa.create_engine(f"sqlite:///{tmp_path / 'b.sqlite'}")
    metadata.create_all(engine)
    engine.dispose()
    migrated.close()

    def shape(path: Path) -> dict[str, object]:
        with sqlite3.connect(path) as connection:
            names = [
                row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
            ]
            found = {
                name: [row[1:4] for row in connection.execute(f"PRAGMA table_info({name})")]
                for name in names
                if name != "alembic_version"
            }
        connection.close()
        return dict(sorted(found.items()))

    assert shape(tmp_path / "a.sqlite") == shape(tmp_path / "b.sqlite")


def test_the_newest_revision_is_the_one_the_program_expects(tmp_path: Path) -> None:
    folder = Path(__file__).parents[2] / "src/staddle/stores/migrations/versions"
    assert max(path.name.split("_")[0] for path in folder.glob("[0-9]*.py")) == HEAD
    open_sqlite(tmp_path / "a.sqlite").close()
    with sqlite3.connect(tmp_path / "a.sqlite") as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchone() == (HEAD,)
    connection.close()


def test_a_journal_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    open_sqlite(tmp_path / "a.sqlite").close()
    with sqlite3.connect(tmp_path / "a.sqlite") as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.close()
    with pytest.raises(NotAllowed) as caught:
        open_sqlite(tmp_path / "a.sqlite")
    assert str(caught.value) == (
        f"error: the journal has revision 9999, this program knows {HEAD}\n"
        f"  where: {tmp_path / 'a.sqlite'}\n"
        "  why:   a newer staddle has written it\n"
        "  try:   use that version, or a copy of the journal from before"
    )


def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    path.write_bytes(b"this is a shopping list, not a database" * 100)
    before = path.read_bytes()
    with pytest.raises(OutsideFailed, match="the journal cannot be opened: file is not a database"):
        open_sqlite(path)
    assert path.read_bytes() == before


def _contend(path: str, name: str, started: object, answers: "multiprocessing.Queue[str]") -> None:
    opened: SqlStore = open_sqlite(Path(path))
    started.wait()  # type: ignore[attr-defined]  # a multiprocessing event
    try:
        opened.take_lease("levels-rollout-1", holder=name, now=NOW, span=SPAN, is_gone=never)
        answers.put(f"{name} holds")
    except NotAllowed:
        answers.put(f"{name} refused")
    opened.close()


def test_of_processes_that_want_the_lease_at_once_exactly_one_gets_it(store: Store, tmp_path: Path) -> None:
    context = multiprocessing.get_context("spawn")
    started, answers = context.Event(), context.Queue()
    names = ["a", "b", "c", "d"]
    processes = [
        context.Process(target=_contend, args=(str(tmp_path / "journal.sqlite"), name, started, answers))
        for name in names
    ]
    for process in processes:
        process.start()
    started.set()
    told = [answers.get(timeout=60) for _ in names]
    for process in processes:
        process.join()
    assert sum(text.endswith("holds") for text in told) == 1


def test_the_head_is_kept_as_readable_json(store: Store, tmp_path: Path) -> None:
    with sqlite3.connect(tmp_path / "journal.sqlite") as connection:
        body, digest = connection.execute("SELECT head, head_sha256 FROM rollouts").fetchone()
    connection.close()
    assert json.loads(body)["plan"]["cluster"] == "Ousemoor levels"
    assert len(digest) == 64
