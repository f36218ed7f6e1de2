"""JSON over HTTP/1.1 to a machine whose certificate is known by its fingerprint.

The problem: a request carries a secret, so it must never reach a stranger; and after a failure the caller must know
whether the request can have taken effect. So each call makes one connection, compares the leaf's fingerprint on it
before the first byte of the request, sends on that same connection, and closes it. Before the first byte every
failure is NotSent; from the first byte on every failure is OutcomeUnknown, even where it seems unlikely that the other side
acted. A reply counts only when its end was seen: one that ends where the connection ends cannot be told from one cut
short (RFC 9112 §8), and is OutcomeUnknown. Redirects are replies like any other: a secret goes nowhere else.

Not here: names in the certificate (the proof looks at them), repeating (only who knows what a repeat does may repeat).
"""

import asyncio
import base64
import re
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final

import h11
import msgspec

from staddle.kernel import Clock, Fault, InputRefused, OutcomeUnknown, OutsideFailed, SystemClock
from staddle.probes.addresses import authority, check_goal
from staddle.probes.handshake import Greeted, greet
from staddle.probes.reasons import reason_of
from staddle.trust.fingerprints import Confirmed, Fingerprint, confirm, fingerprint_of
from staddle.trust.secrets import Secret

__all__ = ["NotSent", "PinDiffers", "PinnedHttps", "Reply"]

_TARGET: Final = re.compile(r"/[\x21-\x22\x24-\x7e]*")  # RFC 9112 §3.2.1 origin form: no blanks, no fragment
_METHODS: Final = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE")
_CHUNK_BYTES: Final = 64 << 10


class NotSent(OutsideFailed):
    """No byte of the request left: whatever it asks for has certainly not happened because of it."""


class PinDiffers(NotSent):
    """Whoever answered showed another certificate than the expected one; nothing was sent to them."""

    def __init__(self, *faults: Fault, expected: Fingerprint, seen: Fingerprint) -> None:
        super().__init__(*faults)
        self.expected: Final = expected
        self.seen: Final = seen


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """A complete reply, whatever its status. ``body`` is its parsed JSON, None where it has none or is of another type.

    ``headers`` are (lower-case name, value) in the order sent. ``sent_at`` and ``received_at`` are our clock just before
    the request and just after the reply's last byte, for clock_offset; ``elapsed_s`` is the whole call with its handshake.
    """

    status: int
    body: object = field(repr=False)  # these three may hold a secret that the machine issued
    raw: bytes = field(repr=False)
    headers: tuple[tuple[str, str], ...] = field(repr=False)
    elapsed_s: float
    sent_at: datetime
    received_at: datetime


class PinnedHttps:
    """Calls one machine, known by its certificate's fingerprint.

    Args: address: IPv4 or IPv6, not a name; pinned: the confirmed fingerprint; user, secret: for Basic authorization
        (RFC 7617), none where secret is None; max_body_bytes: the largest reply that is read.
    Raises: InputRefused: not an address, not a port, a user with a colon or a control character.
    """

    def __init__(
        self,
        *,
        address: str,
        port: int,
        pinned: Fingerprint,
        user: str = "",
        secret: Secret | None = None,
        max_body_bytes: int = 1 << 20,
        clock: Clock | None = None,
    ) -> None:
        check_goal(address, port)
        if ":" in user or not (user.isprintable() or user == ""):
            raise InputRefused.one(
                f"{user!r} cannot be a user's name", why="RFC 7617 §2: no colon, no control character"
            )
        self._address: Final = address
        self._port: Final = port
        self._pinned: Final = pinned
        self._user: Final = user
        self._secret: Final = secret
        self._max_body_bytes: Final = max_body_bytes
        self._clock: Final = SystemClock() if clock is None else clock
        self._where: Final = authority(address, port)

    async def call(self, method: str, path: str, *, timeout_s: float, body: object = None) -> Reply:
        """Send one request and read its whole reply.

        Args: path: origin form, "/" and what follows it; body: a value that JSON can hold, where a Secret stands for its text;
            None for no body at all;
            timeout_s: deadline from connecting to the reply's last byte, positive.
        Raises: InputRefused: the request cannot be written. NotSent, and of it PinDiffers: certainly no effect.
            OutcomeUnknown: sent, but no complete reply.
        """
        request, payload = self._request(method, path, body)
        loop = asyncio.get_running_loop()
        started = loop.time()
        deadline = started + timeout_s
        greeted = await self._greet_pinned(deadline, timeout_s)
        try:
            connection = h11.Connection(h11.CLIENT)
            parts = (
                connection.send(request),
                connection.send(h11.Data(data=payload)),
                connection.send(h11.EndOfMessage()),
            )
            octets = b"".join(part for part in parts if part)
            sent_at = self._clock.now()
            # From here on the outcome is unknown until a whole reply is seen.
            try:
                async with asyncio.timeout_at(deadline):
                    greeted.writer.write(octets)
                    await greeted.writer.drain()
                    head, raw = await self._read_reply(connection, greeted, method)
            except TimeoutError as exc:
                raise self._unknown(f"no complete reply within {timeout_s:g} s") from exc
            except OSError as exc:
                raise self._unknown(reason_of(exc)) from exc
            except h11.RemoteProtocolError as exc:
                # Its text may quote the reply, and a reply may hold a secret.
                raise self._unknown("the reply is cut short, or is not HTTP/1.1") from exc
            received_at = self._clock.now()
        finally:
            await greeted.close()
        headers = tuple((name.decode("latin-1"), value.decode("latin-1")) for name, value in head.headers)
        return Reply(
            status=head.status_code,
            body=self._parsed(dict(headers).get("content-type", ""), raw),
            raw=raw,
            headers=headers,
            elapsed_s=loop.time() - started,
            sent_at=sent_at,
            received_at=received_at,
        )

    def _request(self, method: str, path: str, body: object) -> tuple[h11.Request, bytes]:
        faults = []
        if method not in _METHODS:
            faults.append(
                Fault(what=f"{method!r} is not a method used here", why="known are " + ", ".join(_METHODS))
            )
        if _TARGET.fullmatch(path) is None:
            faults.append(
                Fault(
                    what=f"{path!r} is not a path",
                    mend='begin it with "/", and write other characters as %XX',
                )
            )
        payload = b""
        try:
            payload = b"" if body is None else msgspec.json.encode(body, enc_hook=_reveal)
        except (TypeError, ValueError, OverflowError) as exc:
            faults.append(Fault(what="the request's body cannot be written as JSON", why=str(exc)))
        if faults:
            raise InputRefused(*faults)
        headers = [("Host", self._where), ("Accept", "application/json"), ("Connection", "close")]
        if self._secret is not None:
            pair = f"{self._user}:{self._secret.unsafe_reveal()}".encode()  # RFC 7617 §2.1: UTF-8
            headers.append(("Authorization", "Basic " + base64.b64encode(pair).decode("ascii")))
        if body is not None:
            headers.append(("Content-Type", "application/json"))
        if body is not None or method in ("POST", "PUT", "PATCH"):
            headers.append(("Content-Length", str(len(payload))))
        return h11.Request(method=method, target=path, headers=headers), payload

    async def _greet_pinned(self, deadline: float, timeout_s: float) -> Greeted:
        try:
            async with asyncio.timeout_at(deadline):
                greeted = await greet(self._address, self._port)
        except TimeoutError as exc:
            raise self._not_sent(f"no TLS connection within {timeout_s:g} s") from exc
        except OSError as exc:
            raise self._not_sent(reason_of(exc)) from exc
        verdict = confirm(self._pinned, fingerprint_of(greeted.der))
        if isinstance(verdict, Confirmed):
            return greeted
        await greeted.close()
        fault = Fault(
            what=f"{self._where} shows another certificate than the confirmed one",
            where=self._where,
            why=f"expected {verdict.expected}, seen {verdict.seen}",
            mend="find out who answers there and why, on the appliance's own console; nothing was sent to it",
        )
        raise PinDiffers(fault, expected=verdict.expected, seen=verdict.seen)

    async def _read_reply(
        self, connection: h11.Connection, greeted: Greeted, method: str
    ) -> tuple[h11.Response, bytes]:
        head: h11.Response | None = None
        body = bytearray()
        while True:
            event = connection.next_event()
            if event is h11.NEED_DATA:
                octets = await greeted.reader.read(_CHUNK_BYTES)
                if not octets and head is None:
                    raise self._unknown("the connection was closed before the reply's head was whole")
                connection.receive_data(octets)
            elif isinstance(event, h11.Response):
                head = event
                if not _has_own_end(event, method):
                    raise self._unknown("the reply does not say where it ends, so it may have been cut short")
            elif isinstance(event, h11.Data):
                body += event.data
                if len(body) > self._max_body_bytes:
                    raise self._unknown(f"the reply is larger than {self._max_body_bytes} bytes")
            elif isinstance(event, h11.EndOfMessage) and head is not None:
                return head, bytes(body)
            elif not isinstance(event, h11.InformationalResponse):
                raise self._unknown("the reply is cut short, or is not HTTP/1.1")

    def _parsed(self, content_type: str, raw: bytes) -> object:
        kind = content_type.split(";", 1)[0].strip().lower()
        if not raw or not (kind == "application/json" or kind.endswith("+json")):  # RFC 6839 §3.1
            return None
        try:
            return msgspec.json.decode(raw)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as exc:
            raise self._unknown("the reply says that it is JSON and is not") from exc

    def _not_sent(self, why: str) -> NotSent:
        return NotSent.one(
            f"{self._where} could not be asked",
            where=self._where,
            why=f"{why}; no byte of the request was sent",
            mend="see that the machine runs and the way to it is open, then run again",
        )

    def _unknown(self, why: str) -> OutcomeUnknown:
        return OutcomeUnknown.one(
            f"{self._where} was asked, and it is not known what came of it",
            where=self._where,
            why=why,
            mend="look at the machine's state before anything is repeated",
        )


def _reveal(value: object) -> str:
    if isinstance(value, Secret):
        return value.unsafe_reveal()
    raise TypeError(f"a {type(value).__name__} is no JSON value")


def _has_own_end(head: h11.Response, method: str) -> bool:
    # RFC 9112 §6.3: no body at all, chunks, or a stated length.
    if method == "HEAD" or head.status_code in (204, 304):
        return True
    names = {name for name, _ in head.headers}
    return b"content-length" in names or b"transfer-encoding" in names
