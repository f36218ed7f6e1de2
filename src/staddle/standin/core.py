"""The member's core: term, vote and document under one lock, the leader's changes, confirmed reads, the view.

Not here: how messages travel (heartbeat.py), who becomes leader (election.py), how a member comes in (joining.py).

Why whole documents instead of a log: the document is small, and a (term, index) on the whole of it gives the same
argument as a log whose every entry is a snapshot. A version is made once, by the leader of its term; a document that a
majority holds is therefore an ancestor of whatever any later leader holds.
"""

import copy
import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from staddle.standin.dial import Reach
from staddle.standin.document import Document, Version, majority_of, version_of
from staddle.standin.refusal import Refusal
from staddle.standin.state import State

__all__ = ["Core", "Pace", "Peer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How fast the cluster notices things."""

    heartbeat_s: float = 0.5
    detection_s: float = 3.0

    @property
    def patience_s(self) -> float:
        """How long a caller is kept waiting for a majority."""
        return 1.5 * self.detection_s


@dataclass(slots=True)
class Peer:
    """What is known of another member. Instants are monotonic seconds."""

    heard_at: float | None = None
    replied_at: float = float("-inf")
    confirmed_at: float = float("-inf")  # when the latest message was sent that it answered in my term
    holds: Version = (0, 0)
    samples: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=8))  # delay, offset
    hardware: dict[str, Any] = field(default_factory=dict)
    wake: threading.Event = field(default_factory=threading.Event)


class Core:
    """Shared by all threads of the member; every field is read and written with ``lock`` held."""

    def __init__(
        self, *, record: dict[str, Any], state: State, kept: dict[str, Any], reach: Reach, pace: Pace
    ) -> None:
        self.record = record
        self.me: str = record["name"]
        self.reach = reach
        self.pace = pace
        self.lock = threading.Condition(threading.RLock())
        self.writing = threading.RLock()  # one change at a time; taken before ``lock``
        self._state = state
        self._kept = kept
        self.leads = False
        self.led_since = 0.0
        self.leader: str | None = None
        self.leader_heard_at = time.monotonic()
        self.committed: Version = (0, 0)
        self.committed_document: Document | None = None
        self.issued: Version = (0, 0)
        self.peers: dict[str, Peer] = {}
        self.say: Callable[[str], None] = lambda line: None
        self._meet()

    # -- durable -------------------------------------------------------------------------------------------------

    def save(self, **changes: object) -> None:
        """Keep the changes on disk, then in memory. Raises Refusal ``storage`` with nothing changed."""
        kept = {**self._kept, **changes}
        self._state.keep(kept)
        self._kept = kept
        self._meet()
        self.lock.notify_all()

    def _meet(self) -> None:
        # Also when the member starts: it comes back with the cluster that it had joined, before it hears of any change.
        for name in self.others():
            self.peers.setdefault(name, Peer())

    @property
    def term(self) -> int:
        term: int = self._kept.get("term", 0)
        return term

    @property
    def vote(self) -> str | None:
        vote: str | None = self._kept.get("vote")
        return vote

    @property
    def key(self) -> str:
        key: str = self._kept.get("key", "")
        return key

    @property
    def document(self) -> Document | None:
        document: Document | None = self._kept.get("document")
        return document

    @property
    def joined(self) -> bool:
        """True once the membership that names this member is known to hold."""
        return self.document is not None and bool(self._kept.get("confirmed"))

    @property
    def password(self) -> str:
        """The stretched administrator's password that holds now."""
        document = self.document
        kept: str = (document and document["admin"]) or self._kept["password"]
        return kept

    @property
    def version(self) -> Version:
        return version_of(self.document)

    def others(self) -> list[str]:
        """The other members' names."""
        return [] if self.document is None else [name for name in self.document["members"] if name != self.me]

    # -- roles ---------------------------------------------------------------------------------------------------

    def hears_majority(self) -> bool:
        """A leader's question: did more than half answer within the detection time? (Time as leader counts from its start.)"""
        assert self.document is not None
        since = time.monotonic() - self.pace.detection_s
        near = [n for n in self.others() if max(self.peers[n].replied_at, self.led_since) > since]
        return 1 + len(near) >= majority_of(self.document)

    def step_down(self, why: str) -> None:
        """Stop leading; callers who wait for a majority are told."""
        if self.leads:
            self.say(f"no longer leader of term {self.term}: {why}")
        self.leads = False
        self.leader = None
        self.leader_heard_at = time.monotonic()
        self.lock.notify_all()

    def see_term(self, term: int) -> None:
        """Move to a higher term that someone else is in."""
        if term > self.term:
            self.save(term=term, vote=None)
            self.step_down("another member is in a higher term")

    def follow(self, leader: str) -> None:
        """A message of this term's leader arrived."""
        if self.leader != leader:
            self.say(f"follows {leader} in term {self.term}")
        self.leader = leader
        self.leader_heard_at = time.monotonic()

    def become_leader(self) -> None:
        """Lead the present term: the document is brought to a majority in this term before anything is served."""
        document = copy.deepcopy(self.document)
        assert document is not None
        if document["deputy"] == self.me:
            document["deputy"] = None
        self._store(document, (self.term, self.version[1] + 1))
        self.leads = True
        self.leader = self.me
        self.led_since = time.monotonic()
        self.say(f"leader of term {self.term}")
        self.advance()

    def require_leader(self) -> Document:
        """The document, where this member leads and hears a majority.

        Raises: Refusal ``alone``, ``not-leader``, ``no-leader`` or ``no-majority``.
        """
        document = self.document
        if document is None or not self.joined:
            raise Refusal(409, "alone", "this machine is not a member of a cluster")
        if not self.leads:
            if self.leader is None:
                raise Refusal(503, "no-leader", "no majority has a leader at present")
            raise Refusal(409, "not-leader", f"{self.leader} leads", leader=self.leader)
        if not self.hears_majority():
            raise Refusal(503, "no-majority", "this leader does not hear a majority of the members")
        return document

    # -- changes -------------------------------------------------------------------------------------------------

    def change(self, alter: Callable[[Document, Version], None]) -> Version:
        """Alter the document and return once a majority holds it. Nothing is written where alter raises.

        Returns: the version of the altered document.
        Raises: Refusal: as ``require_leader``; 504 ``unconfirmed`` where it was written and may or may not hold.
        """
        with self.writing:
            document, version = self.prepare(alter)
            self.establish(document, version)
            return version

    def prepare(self, alter: Callable[[Document, Version], None]) -> tuple[Document, Version]:
        """An altered copy with its version; nothing is stored yet. ``writing`` must be held."""
        with self.lock:
            self.require_leader()
            nothing = Refusal(503, "no-majority", "a majority could not be reached; nothing was written")
            if self.issued > self.version:
                # A document was shown to a newcomer that did not acknowledge. An unaltered one must outrank it at a
                # majority, or two memberships that differ by more than one member could each find a majority.
                plain = copy.deepcopy(self.document)
                assert plain is not None
                self._store(plain, (self.term, self.issued[1] + 1))
                self.advance()
            self._wait_until_held(self.term, nothing)
            document = copy.deepcopy(self.document)
            assert document is not None
            version = (self.term, self.version[1] + 1)
            alter(document, version)
            self.issued = version
            return document, version

    def establish(self, document: Document, version: Version, *, holder: str | None = None) -> None:
        """Store a prepared document and wait until a majority holds it; ``holder`` is known to hold it already."""
        unsure = Refusal(504, "unconfirmed", "a majority did not confirm it; it may or may not hold")
        with self.lock:
            if not self.leads or self.term != version[0]:
                raise unsure
            self._store(document, version)
            if holder is not None:
                now = time.monotonic()
                self.peers[holder] = Peer(holds=version, heard_at=now, replied_at=now)
            self.advance()
            self._wait_until_held(version[0], unsure)

    def _store(self, document: Document, version: Version) -> None:
        document["version"] = list(version)
        self.save(document=document)
        self.issued = max(self.issued, version)
        for peer in self.peers.values():
            peer.wake.set()

    def _wait_until_held(self, term: int, refusal: Refusal) -> None:
        until = time.monotonic() + self.pace.patience_s
        while True:
            left = until - time.monotonic()
            # Leading is asked first: a member that was unseated meanwhile holds the next leader's document, and that one
            # being held by a majority says nothing about ours.
            if not self.leads or self.term != term or left <= 0:
                raise refusal
            if self.committed >= self.version:
                return
            self.lock.wait(left)

    def advance(self) -> None:
        """As leader: note that a majority holds the document, if it does. Only documents of this term count."""
        document = self.document
        if not self.leads or document is None or self.version[0] != self.term:
            return
        holders = 1 + sum(self.peers[name].holds >= self.version for name in self.others())
        if holders >= majority_of(document) and self.committed < self.version:
            self.committed = self.version
            self.committed_document = document
            self.lock.notify_all()

    def confirmed_document(self) -> Document:
        """The newest document that a majority holds, after a majority has confirmed that this member still leads.

        Raises: Refusal: as ``require_leader``.
        """
        with self.lock:
            self.require_leader()
            term, asked = self.term, time.monotonic()
            for name in self.others():
                self.peers[name].wake.set()
            while True:
                left = asked + self.pace.patience_s - time.monotonic()
                if not self.leads or self.term != term or left <= 0:
                    raise Refusal(503, "no-majority", "a majority did not confirm the leader")
                document = self.committed_document
                sure = 1 + sum(self.peers[name].confirmed_at >= asked for name in self.others())
                assert self.document is not None
                if self.committed[0] == term and document is not None and sure >= majority_of(self.document):
                    return document
                self.lock.wait(left)
