"""Founding, and a newcomer's way in: what the joiner does, what the leader does, the welcome between them.

Not here: the rules for secrets and names (document.py).
"""

import hmac
import secrets
import threading
import time
from typing import Any

from staddle.standin.core import Core
from staddle.standin.dial import FingerprintDiffers, Pinned, Unreachable
from staddle.standin.document import (
    Document,
    Version,
    add_member,
    checked_record,
    digest_of_secret,
    new_document,
    version_of,
    was_admitted,
)
from staddle.standin.refusal import Refusal

__all__ = ["Joining"]

_WELCOME_TIMEOUT_S = 5.0
_ADMISSION_TIMEOUT_S = 20.0


class Joining:
    """One member's part in founding and joining."""

    def __init__(self, core: Core) -> None:
        self._core = core
        self._one_at_a_time = threading.Lock()
        self._nonce: str | None = None

    def found(self, cluster: str) -> None:
        """Make a cluster of this one member; harmless where that was already done under this name."""
        core = self._core
        with core.lock:
            document = core.document
            if document is not None:
                if core.joined and document["cluster"]["name"] == cluster:
                    return
                raise Refusal(
                    409,
                    "already-member",
                    f'this machine belongs to the cluster "{document["cluster"]["name"]}"',
                )
            core.save(
                document=new_document(secrets.token_hex(16), cluster, core.record),
                key=secrets.token_urlsafe(32),
                term=1,
                vote=core.me,
                confirmed=True,
            )
            core.become_leader()

    def join(self, address: str, port: int, fingerprint: str, secret: str) -> None:
        """Join the leader at that address, whose certificate must have that fingerprint; harmless once joined.

        Raises: Refusal: ``leader-fingerprint-differs`` (the secret was not sent), ``leader-unreachable`` (nothing
            happened), ``unconfirmed`` (look, then repeat), or the leader's own refusal.
        """
        core = self._core
        with self._one_at_a_time:
            with core.lock:
                document = core.document
                if core.joined and document is not None:
                    if any(member["fingerprint"] == fingerprint for member in document["members"].values()):
                        return
                    name = document["cluster"]["name"]
                    raise Refusal(409, "already-member", f'this machine belongs to the cluster "{name}"')
            link = Pinned(core.reach.place(address, port), fingerprint, timeout_s=_ADMISSION_TIMEOUT_S)
            try:
                link.open()
                self._nonce = secrets.token_urlsafe(32)
                link.call("/v1/peer/admit", {"secret": secret, "nonce": self._nonce, "member": core.record})
            except FingerprintDiffers as exc:
                message = f"the certificate at {address} port {port} is {exc}; the secret was not sent"
                raise Refusal(409, "leader-fingerprint-differs", message) from exc
            except Unreachable as exc:
                if self._nonce is None:
                    raise Refusal(502, "leader-unreachable", f"{address} port {port}: {exc}") from exc
                raise Refusal(504, "unconfirmed", f"the leader did not answer: {exc}") from exc
            finally:
                self._nonce = None
                link.close()
            with core.lock:
                if core.document is None:
                    raise Refusal(
                        504, "unconfirmed", "the leader agreed but did not hand over the membership"
                    )
                core.save(confirmed=True)

    def on_admit(self, body: dict[str, Any]) -> dict[str, Any]:
        """As leader: check the secret, dial the newcomer back, let it write first, then add it."""
        core, record = self._core, checked_record(body.get("member"))
        digest, nonce = digest_of_secret(str(body.get("secret"))), str(body.get("nonce"))

        def alter(document: Document, version: Version) -> None:
            add_member(document, record, digest, time.time())

        with core.writing:
            with core.lock:
                document = core.require_leader()
            if was_admitted(document, record, digest):
                # Its first answer was lost. What it is told again must hold at a majority.
                core.change(lambda document, version: None)
                self._welcome(record, nonce, core.document)
            else:
                document, version = core.prepare(alter)
                document["version"] = list(version)
                self._welcome(record, nonce, document)
                core.establish(document, version, holder=record["name"])
        return {"admitted": record["name"]}

    def _welcome(self, record: dict[str, Any], nonce: str, document: Document | None) -> None:
        core = self._core
        place = f"{record['address']} port {record['port']}"
        link = Pinned(
            core.reach.place(record["address"], record["port"]),
            record["fingerprint"],
            timeout_s=_WELCOME_TIMEOUT_S,
        )
        with core.lock:
            message = {
                "nonce": nonce,
                "key": core.key,
                "term": core.term,
                "from": core.me,
                "document": document,
            }
        try:
            link.call("/v1/peer/welcome", message)
        except FingerprintDiffers as exc:
            told = f"the certificate at {place} is {exc}, not the one the joiner told"
            raise Refusal(409, "joiner-fingerprint-differs", told) from exc
        except (Unreachable, Refusal) as exc:
            raise Refusal(502, "joiner-unreachable", f"{place} did not take the membership: {exc}") from exc
        finally:
            link.close()

    def on_welcome(self, body: dict[str, Any]) -> dict[str, Any]:
        """As joiner: take key and membership from the leader that was just asked, known by the nonce it was sent."""
        core, nonce = self._core, self._nonce
        if nonce is None or not hmac.compare_digest(nonce.encode(), str(body.get("nonce")).encode()):
            raise Refusal(403, "not-a-peer", "this machine is not asking to join")
        document: Document = body["document"]
        with core.lock:
            if version_of(document) < core.version or document["members"].get(core.me) != core.record:
                raise Refusal(409, "already-member", "this machine holds another or a newer membership")
            term = max(core.term, int(body["term"]))
            core.save(
                key=body["key"], term=term, vote=core.vote if term == core.term else None, document=document
            )
            core.follow(str(body["from"]))
            return {"version": core.version}
