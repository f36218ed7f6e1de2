"""Real servers on loopback addresses, one thread each, that write down every byte they get. Not a test."""

import select
import socket
import ssl
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from staddle.trust.certificates import der_of, make_self_signed
from staddle.trust.fingerprints import Fingerprint, fingerprint_of

__all__ = ["Identity", "Server", "https_server", "identity", "read_request", "serve", "tcp_server"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Identity:
    """A server's own certificate, and the context that shows it."""

    context: ssl.SSLContext
    der: bytes

    @property
    def fingerprint(self) -> Fingerprint:
        return fingerprint_of(self.der)


@cache
def identity(name: str) -> Identity:
    """One key and certificate a name, made once."""
    key, pem = make_self_signed(
        common_name=name, names=[f"{name}.example"], addresses=["192.0.2.11"], now=datetime.now(UTC), days=1
    )
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "both.pem"
        file.touch(mode=0o600)
        file.write_bytes(key + pem)
        context.load_cert_chain(file)
    return Identity(context=context, der=der_of(pem))


@dataclass(slots=True)
class Server:
    """Where it listens, and every application byte it got, in the clear."""

    address: str
    port: int
    received: bytearray = field(default_factory=bytearray)
    connections: int = 0
    done: threading.Event = field(default_factory=threading.Event)


Handle = Callable[[socket.socket, Server], None]


@contextmanager
def tcp_server(handle: Handle, *, address: str = "127.0.0.1") -> Iterator[Server]:
    """Accept one connection after another and hand each to ``handle``; closing is the handler's word."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    stop_read, stop_write = socket.socketpair()
    with socket.create_server((address, 0), family=family) as listener, stop_read, stop_write:
        server = Server(address, listener.getsockname()[1])

        def run() -> None:
            while True:
                ready, _, _ = select.select([listener, stop_read], [], [])
                if stop_read in ready:
                    return
                connection, _ = listener.accept()
                connection.settimeout(20)  # a broken test ends, rather than hangs
                server.connections += 1
                with connection, suppress(OSError):
                    handle(connection, server)
                server.done.set()

        thread = threading.Thread(target=run)
        thread.start()
        try:
            yield server
        finally:
            stop_write.send(b"x")
            thread.join()


def https_server(
    handle: Handle, *, who: Identity, address: str = "127.0.0.1"
) -> AbstractContextManager[Server]:
    """The same behind TLS."""

    def greet(connection: socket.socket, server: Server) -> None:
        with who.context.wrap_socket(connection, server_side=True) as session:
            handle(session, server)

    return tcp_server(greet, address=address)


def read_request(connection: socket.socket, server: Server) -> bytes:
    """Read one request with its Content-Length body; b"" if the client hung up before its head was whole."""
    while b"\r\n\r\n" not in server.received:
        if not take(connection, server):
            return b""
    head, _, _ = bytes(server.received).partition(b"\r\n\r\n")
    length = next(
        (
            int(line.split(b":")[1])
            for line in head.split(b"\r\n")
            if line.lower().startswith(b"content-length:")
        ),
        0,
    )
    while len(bytes(server.received).partition(b"\r\n\r\n")[2]) < length:
        if not take(connection, server):
            break
    return bytes(server.received)


def take(connection: socket.socket, server: Server) -> bytes:
    """Receive and write down; b"" at the end."""
    octets = connection.recv(65536)
    server.received += octets
    return octets


def serve(reply: bytes) -> Handle:
    """Read one request, send these bytes, hang up."""

    def handle(connection: socket.socket, server: Server) -> None:
        read_request(connection, server)
        connection.sendall(reply)

    return handle
