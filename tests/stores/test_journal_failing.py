"""What the journal says when its database fails: held by another process, full, not writable."""

import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from staddle.kernel import NotAllowed, OutcomeUnknown, OutsideFailed
from staddle.rollout.journal import Entry
from staddle.rollout.states import Event
from staddle.stores.journal import SqlStore, open_sqlite
from tests.platforms.small_disks import skip_unless_root, small_disk
from tests.stores.test_journal_clock_and_age import NAME, NOW, SPAN, head, never


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlStore]:
    opened = open_sqlite(tmp_path / "journal.sqlite")
    opened.create_rollout(head())
    yield opened
    opened.close()


def entry(size: int = 0) -> Entry:
    return Entry(
        step_id="cluster/verify-package", event=Event.STARTED, at=NOW, actor="", intent=os.urandom(size).hex()
    )


def test_another_process_that_holds_it_means_that_nothing_was_recorded(
    store: SqlStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lease = store.take_lease(NAME, holder="a", now=NOW, span=SPAN, is_gone=never)
    store.close()
    monkeypatch.setattr("staddle.stores.journal._BUSY_S", 0.1)  # the same wait, made short
    hurried = open_sqlite(tmp_path / "journal.sqlite")
    holder = sqlite3.connect(tmp_path / "journal.sqlite", isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    try:
        for write in (
            lambda: hurried.append(lease, [entry()], now=NOW),
            lambda: hurried.renew_lease(lease, now=NOW, span=SPAN),
        ):
            with pytest.raises(NotAllowed, match=r"the journal was held by another process for 0\.1 s"):
                write()
    finally:
        holder.close()
    assert hurried.entries(NAME) == ()
    hurried.close()


@pytest.mark.needs_root
def test_a_full_disk_is_told_and_what_was_recorded_stays(tmp_path: Path) -> None:
    skip_unless_root()
    with small_disk(tmp_path / "disk", 1 << 20) as place:
        store = open_sqlite(place / "journal.sqlite")
        store.create_rollout(head())
        lease = store.take_lease(NAME, holder="a", now=NOW, span=SPAN, is_gone=never)
        recorded = store.append(lease, [entry()], now=NOW)
        with pytest.raises(OutsideFailed, match="the journal failed") as caught:
            store.append(lease, [entry(1 << 20)], now=NOW)
        assert not isinstance(caught.value, OutcomeUnknown)
        assert store.entries(NAME)[0] == recorded[0]
        store.close()
