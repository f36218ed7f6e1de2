"""RealWire: asks where the platform says, and tells the port's errors apart. Real servers on loopback."""

import asyncio
import json
import socket
from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from staddle.jobs.wire import RealWire
from staddle.kernel import Clock, OutcomeUnknown, OutsideFailed
from staddle.plan.looks import NotYet
from staddle.plan.ports import WireReply, WrongCertificate
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret
from tests.probes.loopback_servers import Server, https_server, identity, read_request, serve, tcp_server

WHO = identity("level1")
CONFIGURED = ("192.0.2.11", 8443)


def wire_to(
    server: Server | None, clock: Clock | None = None, *, asked: list[tuple[str, int]] | None = None
) -> RealWire:
    def reach(address: str, port: int) -> tuple[str, int]:
        if asked is not None:
            asked.append((address, port))
        if server is None:
            with socket.socket() as free:
                free.bind(("127.0.0.1", 0))
                return free.getsockname()[:2]  # type: ignore[no-any-return]  # nobody listens there
        return server.address, server.port

    return RealWire(reach, clock)


def reply(status: int, body: object) -> bytes:
    data = json.dumps(body).encode()
    head = f"HTTP/1.1 {status} X\r\nContent-Type: application/json\r\nContent-Length: {len(data)}\r\n\r\n"
    return head.encode() + data


async def called(wire: RealWire, pinned: Fingerprint = WHO.fingerprint) -> WireReply:
    return await wire.call(
        *CONFIGURED,
        pinned=pinned,
        method="POST",
        path="/v1/x",
        user="admin",
        secret=Secret("first-Password-1"),
        body={"a": Secret("inner-secret-2")},
        timeout_s=10,
    )


def test_every_method_goes_where_the_platform_says() -> None:
    asked: list[tuple[str, int]] = []
    with https_server(serve(reply(200, {"b": 1})), who=WHO) as server:
        wire = wire_to(server, asked=asked)
        got = asyncio.run(called(wire))
        assert asyncio.run(wire.read_certificate(*CONFIGURED, timeout_s=10)) == WHO.der
        assert asyncio.run(wire.probe_tcp(*CONFIGURED, timeout_s=10)) is None
    assert asked == [CONFIGURED] * 3
    assert (got.status, got.body) == (200, {"b": 1})
    assert got.sent_at <= got.received_at
    assert b'{"a":"inner-secret-2"}' in server.received


def test_silence_is_not_yet_and_names_the_configured_address() -> None:
    wire = wire_to(None)
    for look in (
        asyncio.run(wire.probe_tcp(*CONFIGURED, timeout_s=5)),
        asyncio.run(wire.read_certificate(*CONFIGURED, timeout_s=5)),
    ):
        assert isinstance(look, NotYet)
        assert look.why.startswith("192.0.2.11 port 8443: ")


def test_another_certificate_gets_nothing_and_is_told_as_what_it_is() -> None:
    with https_server(serve(reply(200, {})), who=WHO) as server, pytest.raises(WrongCertificate) as caught:
        asyncio.run(called(wire_to(server), pinned=Fingerprint(digest=bytes(32))))
    assert not isinstance(caught.value, OutcomeUnknown)
    assert bytes(server.received) == b""
    assert caught.value.faults[0].why == f"expected {'00:' * 31}00, seen {WHO.fingerprint}"


def test_nobody_there_means_that_nothing_happened() -> None:
    with pytest.raises(OutsideFailed) as caught:
        asyncio.run(called(wire_to(None)))
    assert not isinstance(caught.value, OutcomeUnknown)


def hang_up(connection: socket.socket, server: Server) -> None:
    read_request(connection, server)


@pytest.mark.parametrize("handle", [hang_up, serve(b"HTTP/1.1 200 OK\r\nContent-Length: 9\r\n\r\nhalf")])
def test_a_request_without_a_whole_reply_is_an_unknown_outcome(
    handle: Callable[[socket.socket, Server], None],
) -> None:
    with https_server(handle, who=WHO) as server, pytest.raises(OutcomeUnknown) as caught:
        asyncio.run(called(wire_to(server)))
    for secret in ("first-Password-1", "inner-secret-2"):
        assert secret not in str(caught.value)


def test_being_told_to_wait_means_that_nothing_happened() -> None:
    # RFC 6585 §4: 429, too many requests
    with (
        https_server(serve(reply(429, {"message": "wait"})), who=WHO) as server,
        pytest.raises(OutsideFailed) as caught,
    ):
        asyncio.run(called(wire_to(server)))
    assert not isinstance(caught.value, OutcomeUnknown)
    assert str(caught.value) == (
        "error: 192.0.2.11 asks to wait before the next try\n  where: port 8443, status 429"
    )


class Hours:
    """A clock whose waits cost nothing and are counted."""

    def __init__(self) -> None:
        self.waits: list[float] = []

    def now(self) -> datetime:
        return datetime.now(UTC)

    async def sleep(self, seconds: float) -> None:
        self.waits.append(seconds)


def throttled(times: int, wait: str) -> Callable[[socket.socket, Server], None]:
    """Answers 429 with Retry-After so many times, then 200."""
    left = [times]

    def handle(connection: socket.socket, server: Server) -> None:
        server.received.clear()  # each request by itself
        read_request(connection, server)
        if left[0] > 0:
            left[0] -= 1
            head = f"HTTP/1.1 429 Too Many Requests\r\nRetry-After: {wait}\r\nContent-Length: 0\r\n\r\n"
            connection.sendall(head.encode())
        else:
            connection.sendall(reply(200, {"ok": True}))

    return handle


def test_a_wait_that_is_named_is_waited_out() -> None:
    clock = Hours()
    with https_server(throttled(2, "30"), who=WHO) as server:
        got = asyncio.run(called(wire_to(server, clock)))
    assert (got.status, clock.waits) == (200, [30, 30])


@pytest.mark.parametrize("wait", ["600", "Wed, 25 Nov 2026 12:00:00 GMT", "soon"])
def test_a_wait_that_is_too_long_or_not_named_in_seconds_is_not_begun(wait: str) -> None:
    clock = Hours()
    with (
        https_server(throttled(9, wait), who=WHO) as server,
        pytest.raises(OutsideFailed, match="asks to wait before the next try"),
    ):
        asyncio.run(called(wire_to(server, clock)))
    assert clock.waits == []


@pytest.mark.parametrize("status", [200, 302, 404, 503])
def test_any_other_whole_reply_is_handed_on_for_the_profile_to_judge(status: int) -> None:
    with https_server(serve(reply(status, {"n": status})), who=WHO) as server:
        got = asyncio.run(called(wire_to(server)))
    assert (got.status, got.body) == (status, {"n": status})


def test_a_port_that_answers_without_tls_shows_no_certificate() -> None:
    def talk(connection: socket.socket, server: Server) -> None:
        connection.sendall(b"SSH-2.0-x\r\n")

    with tcp_server(talk) as server:
        look = asyncio.run(wire_to(server).read_certificate(*CONFIGURED, timeout_s=10))
    assert isinstance(look, NotYet)
