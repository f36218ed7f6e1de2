"""The journal's values and its port, the Store. What happened is the fold of its entries; nothing else is.

The leaf hash of an entry is RFC 6962 §2.1's: SHA-256 over a zero byte and the entry's canonical JSON.
"""

import hashlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Protocol

from staddle.kernel import NotAllowed, canonical_json
from staddle.plan.orders import Plan
from staddle.rollout.states import Event

__all__ = ["Entry", "Lease", "LeaseLost", "Recorded", "RolloutHead", "Store", "leaf_hash", "tree_root"]


class LeaseLost(NotAllowed):
    """Another runner holds the lease, or its end has passed: this one must stop at once and record nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RolloutHead:
    """One rollout: its plan and the digest of every input, pinned at its start."""

    rollout_id: str
    job: str
    purpose: str
    made_at: datetime
    made_by: str
    inputs: Mapping[str, str]  # what it is -> SHA-256
    plan: Plan
    platform: str = ""  # the name under which it is installed; "" in heads that were made without
    estate: str = ""  # the estate's folder as the design named it: its register holds the bookings


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One thing that happened, as it is handed to the store."""

    step_id: str  # "" for the rollout as a whole
    event: Event
    at: datetime
    actor: str
    site: str = ""
    intent: str = ""
    evidence: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """An entry as the store holds it."""

    seq: int
    epoch: int
    entry: Entry
    leaf_hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Lease:
    """The right of one runner to act until an instant. The epoch grows with every new holder."""

    rollout_id: str
    holder: str
    epoch: int
    until: datetime


class Store(Protocol):
    """Keeps rollouts, entries and leases. Every method is one transaction."""

    def create_rollout(self, head: RolloutHead) -> None:
        """Raises: NotAllowed: the id exists."""
        ...

    def get_rollout(self, rollout_id: str) -> RolloutHead:
        """Raises: InputRefused: no such rollout."""
        ...

    def rollouts(self, job: str | None = None) -> tuple[RolloutHead, ...]:
        """All rollouts of a job, or of all jobs, oldest first."""
        ...

    def take_lease(
        self, rollout_id: str, *, holder: str, now: datetime, span: timedelta, is_gone: Callable[[str], bool]
    ) -> Lease:
        """The lease with a new epoch.

        Raises: NotAllowed: somebody holds it, its end has not come, and ``is_gone`` does not say that they ended.
        """
        ...

    def renew_lease(self, lease: Lease, *, now: datetime, span: timedelta) -> Lease:
        """The same lease with a later end. Raises: LeaseLost: it was lost."""
        ...

    def release_lease(self, lease: Lease) -> None:
        """End the lease; harmless if it was lost already."""
        ...

    def append(self, lease: Lease, entries: Sequence[Entry], *, now: datetime) -> tuple[Recorded, ...]:
        """Record entries, all or none, if the lease still holds at ``now``. Raises: LeaseLost: it was lost."""
        ...

    def entries(self, rollout_id: str) -> tuple[Recorded, ...]:
        """All entries of a rollout in their order."""
        ...


def leaf_hash(rollout_id: str, seq: int, epoch: int, entry: Entry) -> str:
    """RFC 6962 §2.1 leaf hash of an entry, hex."""
    body = canonical_json({"rollout": rollout_id, "seq": seq, "epoch": epoch, "entry": entry})
    return hashlib.sha256(b"\x00" + body).hexdigest()


def tree_root(leaves: Sequence[bytes]) -> bytes:
    """RFC 6962 §2.1 Merkle tree head over leaf hashes; SHA-256 of nothing for no leaves."""
    if not leaves:
        return hashlib.sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = 1 << (len(leaves) - 1).bit_length() - 1  # the largest power of two below the number of leaves
    return hashlib.sha256(b"\x01" + tree_root(leaves[:split]) + tree_root(leaves[split:])).digest()
