"""The calls of the protocol, as methods that take and return JSON values. Not here: HTTP (server.py)."""

import re
import secrets
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from staddle.standin.core import Core
from staddle.standin.dial import FingerprintDiffers, Pinned, Unreachable
from staddle.standin.document import add_secret, digest_of_secret, name_deputy, put_value, remove_member
from staddle.standin.election import on_vote
from staddle.standin.heartbeat import on_beat, require_cluster
from staddle.standin.joining import Joining
from staddle.standin.password import stretch
from staddle.standin.refusal import Refusal

__all__ = ["Service"]

Json = dict[str, Any]
_LONGEST_LIFETIME_S = 86400
_LONGEST_VALUE = 4096


def _utc(instant_s: float) -> str:
    return datetime.fromtimestamp(instant_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _text(body: Json, field: str, pattern: str = r"[^\x00-\x1f]{1,253}") -> str:
    value = body.get(field)
    if not isinstance(value, str) or not re.fullmatch(pattern, value):
        raise Refusal(400, "bad-request", f'"{field}" is missing or not of the expected form')
    return value


class Service:
    """One member's calls. ``public`` is open, ``administrator`` wants the password, ``peers`` the cluster key."""

    def __init__(self, core: Core, joining: Joining) -> None:
        self._core = core
        self._joining = joining
        self._up_since_s = time.time()
        self.public: dict[str, Callable[[Json], Json]] = {
            "GET health": self.health,
            # Before a machine has the cluster key, the join secret and the nonce stand for it.
            "POST peer/admit": joining.on_admit,
            "POST peer/welcome": joining.on_welcome,
        }
        self.administrator: dict[str, Callable[[Json], Json]] = {
            "GET view": self.view,
            "POST found": self.found,
            "POST join-secrets": self.join_secret,
            "POST join": self.join,
            "POST deputy": self.deputy,
            "POST start": self.start,
            "POST admin-password": self.admin_password,
            "PUT values": lambda body: self._at_leader("put", body),
            "GET values": lambda body: self._at_leader("get", body),
            "DELETE members": self.remove,
        }
        self.peers: dict[str, Callable[[Json], Json]] = {
            "POST peer/beat": lambda body: on_beat(core, body),
            "POST peer/vote": lambda body: on_vote(core, body),
            "POST peer/forward": self.on_forward,
        }

    def health(self, body: Json) -> Json:
        """Open to all: what and how this machine is."""
        core = self._core
        with core.lock:
            document = core.document if core.joined else None
            near = time.monotonic() - core.leader_heard_at < core.pace.detection_s
            serving = core.leader is not None and (core.hears_majority() if core.leads else near)
            return {
                "name": core.me,
                "product": "Sluicelog",
                **{field: core.record[field] for field in ("version", "processors", "memory_mib")},
                "state": "alone" if document is None else "member",
                "time": _utc(time.time()),
                "up_since": _utc(self._up_since_s),
                "started": document is not None and document["started"],
                "healthy": document is None or serving,
            }

    def view(self, body: Json) -> Json:
        """The cluster as this member sees it."""
        core = self._core
        with core.lock:
            document = core.document
            if document is None or not core.joined:
                raise Refusal(409, "alone", "this machine is not a member of a cluster")
            return {
                "cluster": document["cluster"],
                "term": core.term,
                "leader": core.leader,
                "deputy": document["deputy"],
                "started": document["started"],
                "me": core.me,
                "committed": core.committed,
                "members": [self._seen(record) for _, record in sorted(document["members"].items())],
            }

    def _seen(self, record: Json) -> Json:
        core = self._core
        if record["name"] == core.me:
            return {**core.record, "state": "self", "last_heard_ms": 0, "clock_offset_ms": 0.0}
        peer, now = core.peers[record["name"]], time.monotonic()
        heard = peer.heard_at is not None and now - peer.heard_at < core.pace.detection_s
        # RFC 5905 §10: of the latest eight samples the one with the least delay is the best.
        best = min(peer.samples, default=None)
        return {
            **record,
            **peer.hardware,
            "state": "heard" if heard else "lost",
            "last_heard_ms": None if peer.heard_at is None else round((now - peer.heard_at) * 1000),
            "clock_offset_ms": None if best is None else round(best[1] * 1000, 3),
        }

    def found(self, body: Json) -> Json:
        """Found a cluster of one."""
        self._joining.found(_text(body, "cluster", r"[^\x00-\x1f]{1,64}"))
        return self.view({})

    def join(self, body: Json) -> Json:
        """Join a leader."""
        address, _, port = _text(body, "leader", r"(\[[0-9A-Fa-f:]+\]|[0-9.]+):[0-9]{1,5}").rpartition(":")
        fingerprint = _text(body, "leader_fingerprint", r"([0-9A-F]{2}:){31}[0-9A-F]{2}")
        self._joining.join(address.strip("[]"), int(port), fingerprint, _text(body, "secret"))
        return self.view({})

    def join_secret(self, body: Json) -> Json:
        """Issue a one-use secret for one name; its text is in this answer and nowhere else."""
        name, lifetime_s = _text(body, "name"), body.get("lifetime_s")
        if (
            isinstance(lifetime_s, bool)
            or not isinstance(lifetime_s, (int, float))
            or not 0 < lifetime_s <= _LONGEST_LIFETIME_S
        ):
            raise Refusal(
                400, "bad-request", f'"lifetime_s" must be above 0 and at most {_LONGEST_LIFETIME_S}'
            )
        secret, expires_s = secrets.token_urlsafe(32), time.time() + lifetime_s
        self._core.change(lambda document, _: add_secret(document, name, digest_of_secret(secret), expires_s))
        return {"name": name, "secret": secret, "expires": _utc(expires_s)}

    def deputy(self, body: Json) -> Json:
        """Name the deputy."""
        name = _text(body, "name")
        self._core.change(lambda document, _: name_deputy(document, name, self._core.me))
        return {"deputy": name}

    def start(self, body: Json) -> Json:
        """Begin the service; again is harmless."""
        self._core.change(lambda document, _: document.update(started=True))
        return {"started": True}

    def remove(self, body: Json) -> Json:
        """Take a member out."""
        name = _text(body, "key")
        self._core.change(lambda document, _: remove_member(document, name, self._core.me))
        return {"removed": name}

    def admin_password(self, body: Json) -> Json:
        """Change the administrator's password: here while alone, in the whole cluster afterwards."""
        kept = stretch(_text(body, "new", r"[^\x00-\x1f]{8,128}"))
        with self._core.lock:
            if self._core.document is None:
                self._core.save(password=kept)
                return {"changed": True}
        return self._at_leader("password", {"kept": kept})

    # -- forwarded -----------------------------------------------------------------------------------------------

    def _at_leader(self, operation: str, body: Json) -> Json:
        """Do it here where this member leads, else at the leader."""
        try:
            return self._forwarded(operation, body)
        except Refusal as refused:
            if refused.code != "not-leader":
                raise
            # Whom the caller asked is all the same for these calls, so "ask another" would be the wrong answer.
            raise Refusal(503, "no-leader", "the leader has just changed; nothing was written") from refused

    def _forwarded(self, operation: str, body: Json) -> Json:
        core = self._core
        with core.lock:
            document, leader = core.document, core.leader
            if document is None or not core.joined:
                raise Refusal(409, "alone", "this machine is not a member of a cluster")
            if core.leads or leader not in document["members"]:
                leader = None
            message = {
                "cluster": document["cluster"]["id"],
                "from": core.me,
                "term": core.term,
                "operation": operation,
                "body": body,
            }
        if leader is None:
            return self._do(operation, body)
        record = document["members"][leader]
        where = core.reach.place(record["address"], record["port"])
        link = Pinned(where, record["fingerprint"], timeout_s=core.pace.patience_s + core.pace.detection_s)
        try:
            link.open()
        except (Unreachable, FingerprintDiffers) as exc:
            raise Refusal(
                503, "no-leader", f"the leader {leader} could not be reached; nothing was sent"
            ) from exc
        try:
            return link.call("/v1/peer/forward", message, key=core.key)
        except Unreachable as exc:
            if operation == "get":
                raise Refusal(503, "no-leader", f"the leader {leader} did not answer") from exc
            raise Refusal(504, "unconfirmed", "the leader did not answer; it may or may not hold") from exc
        finally:
            link.close()

    def on_forward(self, body: Json) -> Json:
        """Do what another member was asked."""
        with self._core.lock:
            require_cluster(self._core, body)
            if body["term"] != self._core.term:
                # It lay here while the leader changed; its caller has long been told so and may have written anew.
                raise Refusal(503, "no-leader", "the leader has changed; nothing was written")
        return self._do(str(body["operation"]), body["body"])

    def _do(self, operation: str, body: Json) -> Json:
        core = self._core
        if operation == "password":
            kept = _text(body, "kept", r"[0-9a-f]{32}\$[0-9a-f]{128}")
            core.change(lambda document, _: document.update(admin=kept))
            return {"changed": True}
        key = _text(body, "key", r"[A-Za-z0-9._-]{1,128}")
        if operation == "put":
            value = body.get("value")
            if not isinstance(value, str) or len(value) > _LONGEST_VALUE:
                raise Refusal(
                    400, "bad-request", f'"value" must be text of at most {_LONGEST_VALUE} characters'
                )
            term, index = core.change(lambda document, version: put_value(document, key, value, version))
            return {"key": key, "value": value, "term": term, "index": index}
        if operation != "get":
            raise Refusal(400, "bad-request", "an operation that is not known")
        document = core.confirmed_document()
        if not document["started"]:
            raise Refusal(409, "not-started", "the service has not been started")
        if key not in document["values"]:
            raise Refusal(404, "unknown-key", f'there is no value under "{key}"')
        return {"key": key, **document["values"][key]}
