"""Heartbeats: every member to every other, several times a detection time; the leader's carry the document.

One thread for each other member keeps one pinned connection. Not here: what a missing heartbeat leads to (election.py).
"""

import threading
import time
from typing import Any

from staddle.standin.core import Core
from staddle.standin.dial import FingerprintDiffers, Pinned, Unreachable
from staddle.standin.document import Document, version_of
from staddle.standin.refusal import Refusal

__all__ = ["Heartbeats", "offset_and_delay", "on_beat", "require_cluster"]


def offset_and_delay(t1: float, t2: float, t3: float, t4: float) -> tuple[float, float]:
    """Offset of the other clock and round-trip delay, seconds. Source: RFC 5905 §8."""
    return ((t2 - t1) + (t3 - t4)) / 2, (t4 - t1) - (t3 - t2)


def require_cluster(core: Core, body: dict[str, Any]) -> str:
    """The sender's name, where it speaks of the same cluster."""
    document = core.document
    if document is None or body.get("cluster") != document["cluster"]["id"]:
        raise Refusal(403, "not-a-peer", "this machine is not a member of that cluster")
    return str(body.get("from"))


class Heartbeats:
    """Starts a sender for each other member that the document names; a sender ends when its member has gone."""

    def __init__(self, core: Core) -> None:
        self._core = core
        self._senders: dict[str, threading.Thread] = {}

    def look(self) -> None:
        """Start the senders that are missing; called again and again."""
        with self._core.lock:
            for name in self._core.others():
                if name not in self._senders or not self._senders[name].is_alive():
                    self._senders[name] = threading.Thread(target=self._send, args=(name,), daemon=True)
                    self._senders[name].start()

    def _send(self, name: str) -> None:
        core = self._core
        link: Pinned | None = None
        record: dict[str, Any] | None = None
        while True:
            with core.lock:
                document = core.document
                current = document["members"].get(name) if document is not None else None
                if current is None:
                    return
                if link is None or current != record:
                    record = current
                    where = core.reach.place(record["address"], record["port"])
                    link = Pinned(where, record["fingerprint"], timeout_s=core.pace.detection_s)
            again = False
            try:
                link.open()  # before T1: a handshake inside the exchange would spoil the offset
                with core.lock:
                    message = _message(core, name)
                sent_at, t1 = time.monotonic(), time.time()
                reply = link.call("/v1/peer/beat", message, key=core.key)
                t4 = time.time()
                with core.lock:
                    again = _note_reply(core, name, message, reply, sent_at, t1, t4)
            except (Unreachable, FingerprintDiffers, Refusal):
                pass  # silence is what the others judge by; the next beat tries anew
            wake = core.peers[name].wake
            if not again:
                wake.wait(core.pace.heartbeat_s)
            wake.clear()


def _message(core: Core, name: str) -> dict[str, Any]:
    assert core.document is not None
    message = {
        "cluster": core.document["cluster"]["id"],
        "from": core.me,
        "term": core.term,
        "leads": core.leads,
        "committed": core.committed,
        "hardware": _hardware(core),
    }
    if core.leads and core.peers[name].holds < core.version:
        message["document"] = core.document
    return message


def _hardware(core: Core) -> dict[str, Any]:
    return {field: core.record[field] for field in ("version", "processors", "memory_mib")}


def _note_reply(
    core: Core,
    name: str,
    message: dict[str, Any],
    reply: dict[str, Any],
    sent_at: float,
    t1: float,
    t4: float,
) -> bool:
    """Learn from a reply; True when this member has more to send at once."""
    peer = core.peers[name]
    peer.heard_at = peer.replied_at = time.monotonic()
    peer.hardware = reply["hardware"]
    offset, delay = offset_and_delay(t1, reply["t2"], reply["t3"], t4)
    peer.samples.append((delay, offset))
    core.see_term(reply["term"])
    peer.holds = (reply["version"][0], reply["version"][1])
    if core.leads and message["leads"] and message["term"] == reply["term"] == core.term:
        peer.confirmed_at = max(peer.confirmed_at, sent_at)
    core.advance()
    core.lock.notify_all()
    return core.leads and peer.holds < core.version


def on_beat(core: Core, body: dict[str, Any]) -> dict[str, Any]:
    """Answer a heartbeat; a newer document of this term's leader is stored before it is acknowledged."""
    t2 = time.time()
    with core.lock:
        sender = require_cluster(core, body)
        core.see_term(body["term"])
        if body["leads"] and body["term"] == core.term:
            core.follow(sender)
            offered: Document | None = body.get("document")
            if (
                offered is not None
                and offered["version"][0] == core.term
                and version_of(offered) > core.version
            ):
                core.save(document=offered)
            committed = (body["committed"][0], body["committed"][1])
            if core.version[0] == core.term and core.committed < committed <= core.version:
                core.committed = committed
                if not core.joined:
                    core.save(confirmed=True)
        if sender in core.peers:
            core.peers[sender].heard_at = time.monotonic()
            core.peers[sender].hardware = body["hardware"]
        return {
            "term": core.term,
            "version": core.version,
            "hardware": _hardware(core),
            "t2": t2,
            "t3": time.time(),
        }
