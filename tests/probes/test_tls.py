"""Reading a certificate from real TLS servers on loopback, and from what is none."""

import asyncio
import shutil
import socket
import ssl
import subprocess

import pytest

from staddle.probes.tls import NotSeen, TlsSeen, read_certificate
from staddle.trust.certificates import facts_of
from tests.probes.loopback_servers import Server, https_server, identity, take, tcp_server


def read(address: str, port: int, *, timeout_s: float = 10) -> TlsSeen | NotSeen:
    return asyncio.run(read_certificate(address, port, timeout_s=timeout_s))


def swallow(connection: socket.socket, server: Server) -> None:
    while take(connection, server):
        pass


@pytest.mark.parametrize("address", ["127.0.0.1", "127.0.0.8", "::1"])
def test_the_leaf_is_seen_and_nothing_is_sent(address: str) -> None:
    with https_server(swallow, who=identity("brook-1"), address=address) as server:
        seen = read(address, server.port)
        assert server.done.wait(20)
    assert isinstance(seen, TlsSeen)
    assert seen.der == identity("brook-1").der
    assert seen.fingerprint == identity("brook-1").fingerprint
    assert facts_of(seen.der).names == ("brook-1.example",)
    assert seen.tls_version == "TLSv1.3"
    assert server.received == b""


def test_openssl_sees_the_same_certificate() -> None:
    assert shutil.which("openssl") is not None
    with https_server(swallow, who=identity("brook-1")) as server:
        shown = subprocess.run(
            ["openssl", "s_client", "-connect", f"127.0.0.1:{server.port}"],
            stdin=subprocess.DEVNULL,
            capture_output=True,
        ).stdout
        seen = read("127.0.0.1", server.port)
    pem = shown[shown.index(b"-----BEGIN") : shown.index(b"-----END CERTIFICATE-----") + 25]
    assert isinstance(seen, TlsSeen)
    assert ssl.PEM_cert_to_DER_cert(pem.decode()) == seen.der


def test_a_silent_listener_is_not_seen_within_the_deadline() -> None:
    with tcp_server(swallow) as server:
        assert read("127.0.0.1", server.port, timeout_s=0.2) == NotSeen(why="no certificate within 0.2 s")


def test_a_listener_that_speaks_no_tls_is_not_seen() -> None:
    with tcp_server(lambda connection, _: connection.sendall(b"220 ready\r\n")) as server:
        seen = read("127.0.0.1", server.port)
    assert isinstance(seen, NotSeen)
    assert seen.why in ("TLS failed: WRONG_VERSION_NUMBER", "connection reset by peer")


def test_a_listener_that_hangs_up_is_not_seen() -> None:
    with tcp_server(lambda connection, server: None) as server:
        seen = read("127.0.0.1", server.port)
    assert isinstance(seen, NotSeen)
    assert seen.why


def test_nobody_there_is_not_seen() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    assert read("127.0.0.1", port) == NotSeen(why="the connection was refused: nothing listens there")
