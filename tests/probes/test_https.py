"""Pinned HTTPS against real servers, impostors and servers that fail at every point of a call."""

import asyncio
import base64
import json
import random
import socket
import struct
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler

import pytest

from staddle.kernel import InputRefused, OutcomeUnknown, OutsideFailed
from staddle.probes.https import NotSent, PinDiffers, PinnedHttps, Reply
from staddle.trust.secrets import Secret
from tests.probes.loopback_servers import (
    Handle,
    Server,
    https_server,
    identity,
    read_request,
    serve,
    take,
    tcp_server,
)

SECRET = Secret("Tollgate+weir.47-ümläut")
MEMBER = identity("brook-1")
IMPOSTOR = identity("brook-1-impostor")
OK = b'HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 14\r\n\r\n{"fine": true}'


def call(
    server: Server,
    method: str = "POST",
    path: str = "/v1/join",
    *,
    timeout_s: float = 20,
    body: object = None,
    most: int = 1 << 20,
) -> Reply:
    caller = PinnedHttps(
        address=server.address,
        port=server.port,
        pinned=MEMBER.fingerprint,
        user="admin",
        secret=SECRET,
        max_body_bytes=most,
    )
    return asyncio.run(caller.call(method, path, body=body, timeout_s=timeout_s))


class StandardLibraryHandler(BaseHTTPRequestHandler):
    """The standard library's server as the outside reader of what we send."""

    protocol_version = "HTTP/1.1"
    seen: list[tuple[str, str, dict[str, str], bytes]]

    def do_POST(self) -> None:
        body = self.rfile.read(int(self.headers.get("Content-Length", "0")))
        self.seen.append((self.command, self.path, dict(self.headers.items()), body))
        reply = json.dumps({"got": json.loads(body) if body else None}).encode()
        self.send_response(201)
        self.send_header("Content-Type", "application/json; charset=utf-8")
        self.send_header("Content-Length", str(len(reply)))
        self.end_headers()
        self.wfile.write(reply)

    do_GET = do_PUT = do_DELETE = do_PATCH = do_POST

    def log_message(self, format: str, *args: object) -> None:  # noqa: A002  the base class's name
        """Silent."""


def standard_library(seen: list[tuple[str, str, dict[str, str], bytes]]) -> Handle:
    handler = type("Handler", (StandardLibraryHandler,), {"seen": seen})

    def handle(connection: socket.socket, server: Server) -> None:
        handler(connection, ("127.0.0.1", 0), None)

    return handle


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.9", "::1"])
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "PATCH", "DELETE"])
def test_the_standard_library_reads_our_request(method: str, address: str) -> None:
    seen: list[tuple[str, str, dict[str, str], bytes]] = []
    body = {"name": "brook-2", "secret": SECRET, "ports": [1, 2.5, None, "ü"]}
    with https_server(standard_library(seen), who=MEMBER, address=address) as server:
        reply = call(server, method, "/v1/members?x=%20y", body=body)
    plain = {**body, "secret": SECRET.unsafe_reveal()}
    assert (reply.status, reply.body) == (201, {"got": plain})
    assert ("content-type", "application/json; charset=utf-8") in reply.headers
    command, path, headers, sent = seen[0]
    assert (command, path, json.loads(sent)) == (method, "/v1/members?x=%20y", plain)
    assert headers["Host"] == (f"[{address}]" if ":" in address else address) + f":{server.port}"
    # RFC 7617 §2: Basic, base64 of user:secret in UTF-8
    assert (
        headers["Authorization"]
        == "Basic " + base64.b64encode(f"admin:{SECRET.unsafe_reveal()}".encode()).decode()
    )


def test_without_a_secret_no_authorization_is_sent_and_without_a_body_no_type() -> None:
    with https_server(serve(OK), who=MEMBER) as server:
        caller = PinnedHttps(address=server.address, port=server.port, pinned=MEMBER.fingerprint)
        reply = asyncio.run(caller.call("GET", "/health", timeout_s=20))
    assert reply.body == {"fine": True}
    assert b"authorization" not in server.received.lower()
    assert b"content-" not in server.received.lower()


def test_an_impostor_gets_no_byte_and_both_fingerprints_are_told() -> None:
    def listen(connection: socket.socket, server: Server) -> None:
        while take(connection, server):
            pass

    with https_server(listen, who=IMPOSTOR) as server:
        with pytest.raises(PinDiffers) as differs:
            call(server, body={"secret": "x"})
        assert server.done.wait(20)
    assert server.connections == 1
    assert server.received == b""
    assert isinstance(differs.value, NotSent)
    assert isinstance(differs.value, OutsideFailed)
    assert not isinstance(differs.value, OutcomeUnknown)
    assert (differs.value.expected, differs.value.seen) == (MEMBER.fingerprint, IMPOSTOR.fingerprint)
    where = f"127.0.0.1:{server.port}"
    assert str(differs.value) == (
        f"error: {where} shows another certificate than the confirmed one\n"
        f"  where: {where}\n"
        f"  why:   expected {MEMBER.fingerprint}, seen {IMPOSTOR.fingerprint}\n"
        "  try:   find out who answers there and why, on the appliance's own console; nothing was sent to it"
    )


def test_the_check_and_the_request_share_one_connection() -> None:
    with https_server(serve(OK), who=MEMBER) as server:
        call(server)
    assert server.connections == 1


def test_nobody_there_is_not_sent() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        server = Server("127.0.0.1", listener.getsockname()[1])
    with pytest.raises(NotSent) as refused:
        call(server)
    assert str(refused.value) == (
        f"error: 127.0.0.1:{server.port} could not be asked\n"
        f"  where: 127.0.0.1:{server.port}\n"
        "  why:   the connection was refused: nothing listens there; no byte of the request was sent\n"
        "  try:   see that the machine runs and the way to it is open, then run again"
    )


@pytest.mark.parametrize("greeting", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n"])
def test_no_handshake_is_not_sent(greeting: bytes) -> None:
    def handle(connection: socket.socket, server: Server) -> None:
        take(connection, server)  # the client's hello
        connection.sendall(greeting)

    with tcp_server(handle) as server, pytest.raises(NotSent, match="no byte of the request was sent"):
        call(server)
    assert b"Authorization" not in server.received


def test_a_silent_listener_is_not_sent_within_the_deadline() -> None:
    def swallow(connection: socket.socket, server: Server) -> None:
        while take(connection, server):
            pass

    with tcp_server(swallow) as server, pytest.raises(NotSent, match=r"no TLS connection within 0\.3 s"):
        call(server, timeout_s=0.3)


def reset(connection: socket.socket, server: Server) -> None:
    read_request(connection, server)
    connection.setsockopt(
        socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0)
    )  # close sends RST: socket(7)


@pytest.mark.parametrize(
    ("handle", "why"),
    [
        (serve(b""), "the connection was closed before the reply's head was whole"),
        (serve(OK[:20]), "the connection was closed before the reply's head was whole"),
        (serve(OK[:-1]), "the reply is cut short, or is not HTTP/1.1"),
        (serve(b"220 ready\r\n\r\n"), "the reply is cut short, or is not HTTP/1.1"),
        (serve(b"HTTP/1.1 200 OK\r\n\r\nwhatever comes"), "the reply does not say where it ends"),
        (
            serve(b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nabcde\r\n"),
            "the reply is cut short, or is not HTTP/1.1",
        ),
        (
            serve(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 3\r\n\r\n{a}"),
            "the reply says that it is JSON and is not",
        ),
        (
            serve(b"HTTP/1.1 100 Continue\r\n\r\n"),
            "the connection was closed before the reply's head was whole",
        ),
        (reset, "connection reset by peer"),
    ],
)
def test_sent_without_a_whole_reply_is_outcome_unknown(handle: Handle, why: str) -> None:
    with https_server(handle, who=MEMBER) as server, pytest.raises(OutcomeUnknown, match=why) as unknown:
        call(server, body={"a": 1})
    assert not isinstance(unknown.value, NotSent)
    assert server.received.endswith(b'{"a":1}')
    told = str(unknown.value)
    assert "look at the machine's state before anything is repeated" in told
    assert SECRET.unsafe_reveal() not in told


def test_a_slow_reply_is_outcome_unknown_at_the_deadline() -> None:
    def handle(connection: socket.socket, server: Server) -> None:
        read_request(connection, server)
        connection.sendall(OK[:-1])
        connection.recv(1)  # until the client hangs up

    with (
        https_server(handle, who=MEMBER) as server,
        pytest.raises(OutcomeUnknown, match=r"no complete reply within 0\.5 s"),
    ):
        call(server, timeout_s=0.5)


def test_a_server_that_reads_nothing_is_outcome_unknown_at_the_deadline() -> None:
    def handle(connection: socket.socket, server: Server) -> None:
        assert server.done.wait(20)

    with https_server(handle, who=MEMBER) as server:
        try:
            with pytest.raises(OutcomeUnknown, match=r"no complete reply within 1 s"):
                call(server, body="x" * (32 << 20), timeout_s=1)
        finally:
            server.done.set()


@pytest.mark.parametrize("length", [1000, 1001])
def test_a_reply_above_the_cap_is_outcome_unknown_and_one_at_it_is_read(length: int) -> None:
    reply = b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n" % length + b"x" * length
    with https_server(serve(reply), who=MEMBER) as server:
        if length == 1000:
            assert call(server, most=1000).raw == b"x" * 1000
        else:
            with pytest.raises(OutcomeUnknown, match="the reply is larger than 1000 bytes"):
                call(server, most=1000)


@pytest.mark.parametrize(
    ("octets", "status", "body"),
    [
        (b"HTTP/1.1 204 No Content\r\n\r\n", 204, None),
        (b"HTTP/1.1 401 Unauthorized\r\nContent-Length: 2\r\n\r\nno", 401, None),
        (b"HTTP/1.1 302 Found\r\nLocation: https://192.0.2.99/\r\nContent-Length: 0\r\n\r\n", 302, None),
        (b"HTTP/1.1 100 Continue\r\n\r\n" + OK, 200, {"fine": True}),
        (
            b"HTTP/1.1 503 Busy\r\nContent-Type: application/problem+json\r\nTransfer-Encoding: chunked\r\n\r\n"
            b'6\r\n{"a": \r\n2\r\n1}\r\n0\r\n\r\n',
            503,
            {"a": 1},
        ),
    ],
)
def test_every_whole_reply_is_a_reply(octets: bytes, status: int, body: object) -> None:
    with https_server(serve(octets), who=MEMBER) as server:
        reply = call(server)
    assert (reply.status, reply.body) == (status, body)
    assert server.connections == 1  # a redirect is not followed


def test_a_reply_does_not_show_its_content() -> None:
    with https_server(serve(OK), who=MEMBER) as server:
        assert "fine" not in repr(call(server))


class FixedClock:
    """Each reading is one second later than the last one."""

    def __init__(self) -> None:
        self.instant = datetime(2026, 12, 5, 20, tzinfo=UTC)

    def now(self) -> datetime:
        self.instant += timedelta(seconds=1)
        return self.instant

    async def sleep(self, seconds: float) -> None:
        raise AssertionError("a call does not sleep")


def test_the_clock_is_read_just_before_and_just_after() -> None:
    clock = FixedClock()
    with https_server(serve(OK), who=MEMBER) as server:
        caller = PinnedHttps(address=server.address, port=server.port, pinned=MEMBER.fingerprint, clock=clock)
        reply = asyncio.run(caller.call("GET", "/health", timeout_s=20))
    assert reply.received_at - reply.sent_at == timedelta(seconds=1)
    assert reply.elapsed_s > 0


def faults_at(where: str) -> Handle:
    def handle(connection: socket.socket, server: Server) -> None:
        if where == "accept":
            return
        if where == "hello":
            connection.recv(100)
            return
        with MEMBER.context.wrap_socket(connection, server_side=True) as session:
            if where == "greeted":
                return
            if where == "part of request":
                server.received += session.recv(20)
                return
            read_request(session, server)
            if where == "whole request":
                return
            session.sendall(OK[: len(OK) // 2] if where == "part of reply" else OK)

    return handle


PLACES = ("accept", "hello", "greeted", "part of request", "whole request", "part of reply", "whole reply")


def test_not_sent_never_lies_wherever_the_server_ends() -> None:
    # Whatever the timing: NotSent only where the server got no byte, a reply only where it sent a whole one.
    seed = random.randrange(1 << 32)
    chance = random.Random(seed)
    for _ in range(40):
        place = chance.choice(PLACES)
        with tcp_server(faults_at(place)) as server:
            try:
                call(server, body={"padding": "x" * chance.choice([1, 70_000])})
                outcome = "reply"
            except NotSent:
                outcome = "not sent"
            except OutcomeUnknown:
                outcome = "unknown"
        told = f"seed {seed}: {place}: {outcome}"
        assert not (outcome == "not sent" and server.received), told
        allowed = {
            "accept": {"not sent"},
            "hello": {"not sent"},
            "greeted": {"not sent", "unknown"},
            "whole reply": {"reply"},
        }
        assert outcome in allowed.get(place, {"unknown"}), told


def test_all_faults_of_a_request_are_told_and_nothing_connects() -> None:
    with https_server(serve(OK), who=MEMBER) as server, pytest.raises(InputRefused) as refused:
        call(server, "TRACE", "/a b\r\nX: y", body={"a": object()})
    assert [fault.what for fault in refused.value.faults] == [
        "'TRACE' is not a method used here",
        "'/a b\\r\\nX: y' is not a path",
        "the request's body cannot be written as JSON",
    ]
    assert server.connections == 0


@pytest.mark.parametrize("path", ["", "v1", "https://192.0.2.9/", "/a#b", "/ü", "/a\n"])
def test_what_is_no_path_is_refused(path: str) -> None:
    with pytest.raises(InputRefused, match="is not a path"):
        call(Server("127.0.0.1", 9), path=path)


@pytest.mark.parametrize("user", ["a:b", "a\nb"])
def test_a_user_that_basic_cannot_carry_is_refused(user: str) -> None:
    # RFC 7617 §2: a user-id with a colon is invalid
    with pytest.raises(InputRefused, match="cannot be a user's name"):
        PinnedHttps(address="127.0.0.1", port=9, pinned=MEMBER.fingerprint, user=user, secret=SECRET)


def test_many_calls_at_once_do_not_mix() -> None:
    def echo(connection: socket.socket, server: Server) -> None:
        server.received.clear()
        number = read_request(connection, server).split(b" ", 2)[1][1:]
        connection.sendall(
            b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n" % len(number)
            + number
        )

    async def ask_all(server: Server) -> list[Reply]:
        caller = PinnedHttps(address=server.address, port=server.port, pinned=MEMBER.fingerprint)
        return await asyncio.gather(*(caller.call("GET", f"/{n}", timeout_s=20) for n in range(20)))

    with https_server(echo, who=MEMBER) as server:
        assert [reply.body for reply in asyncio.run(ask_all(server))] == list(range(20))
