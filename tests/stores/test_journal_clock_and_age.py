"""A lease after a clock was set back, and a rollout's head that an earlier version of the program wrote."""

import hashlib
import json
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from staddle.kernel import NotAllowed, OurFault, canonical_json
from staddle.rollout.journal import LeaseLost, RolloutHead
from staddle.stores.journal import SqlStore, open_sqlite
from tests.rollout.plans import plan_of

NOW = datetime(2026, 12, 5, 20, tzinfo=UTC)
SPAN = timedelta(seconds=30)
NAME = "levels-rollout-1"


def never(holder: str) -> bool:
    return False


def head() -> RolloutHead:
    return RolloutHead(
        rollout_id=NAME,
        job="levels",
        purpose="rollout",
        made_at=NOW,
        made_by="R. Fenwold",
        inputs={},
        plan=plan_of(),
    )


@pytest.fixture
def store(tmp_path: Path) -> SqlStore:
    opened = open_sqlite(tmp_path / "journal.sqlite")
    opened.create_rollout(head())
    return opened


def test_a_lease_from_before_the_clock_was_set_back_ends_after_one_span(store: SqlStore) -> None:
    store.take_lease(NAME, holder="a", now=NOW, span=SPAN, is_gone=never)
    back = NOW - timedelta(days=400)
    with pytest.raises(NotAllowed, match="is being carried out by a"):
        store.take_lease(NAME, holder="b", now=back, span=SPAN, is_gone=never)
    with pytest.raises(NotAllowed, match="is being carried out by a"):
        store.take_lease(NAME, holder="b", now=back + SPAN / 2, span=SPAN, is_gone=never)
    assert store.take_lease(NAME, holder="b", now=back + SPAN, span=SPAN, is_gone=never).holder == "b"


def test_a_living_holder_keeps_its_lease_over_a_clock_that_was_set_back(store: SqlStore) -> None:
    held = store.take_lease(NAME, holder="a", now=NOW, span=SPAN, is_gone=never)
    back = NOW - timedelta(days=400)
    with pytest.raises(NotAllowed):
        store.take_lease(NAME, holder="b", now=back, span=SPAN, is_gone=never)
    held = store.renew_lease(held, now=back + SPAN / 3, span=SPAN)
    with pytest.raises(NotAllowed):
        store.take_lease(NAME, holder="b", now=back + SPAN, span=SPAN, is_gone=never)


def test_asking_again_and_again_never_prolongs_the_lease_of_another(store: SqlStore) -> None:
    held = store.take_lease(NAME, holder="a", now=NOW, span=SPAN, is_gone=never)
    for seconds in (1, 10, 29):
        with pytest.raises(NotAllowed):
            store.take_lease(NAME, holder="b", now=NOW + timedelta(seconds=seconds), span=SPAN, is_gone=never)
    with pytest.raises(LeaseLost):
        store.renew_lease(held, now=NOW + SPAN, span=SPAN)


def rewrite_head(path: Path, head_bytes: bytes, *, digest: str) -> None:
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE rollouts SET head = ?, head_sha256 = ?", (head_bytes, digest))
    connection.close()


def test_a_head_without_a_field_that_came_later_still_reads(store: SqlStore, tmp_path: Path) -> None:
    told = json.loads(canonical_json(head()))
    del told["platform"], told["estate"]
    for member in told["plan"]["members"]:
        for disk in member["disks"]:
            del disk["file_sha256"]
    earlier = canonical_json(told)
    rewrite_head(tmp_path / "journal.sqlite", earlier, digest=hashlib.sha256(earlier).hexdigest())
    assert store.get_rollout(NAME) == head()


def test_a_head_that_was_changed_does_not_read(store: SqlStore, tmp_path: Path) -> None:
    as_made = canonical_json(head())
    changed = as_made.replace(b"om-p2", b"om-p1")
    assert changed != as_made
    rewrite_head(tmp_path / "journal.sqlite", changed, digest=hashlib.sha256(as_made).hexdigest())
    with pytest.raises(OurFault, match="does not have its digest"):
        store.get_rollout(NAME)
