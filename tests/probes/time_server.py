"""A time server on loopback whose clock stands a known way off. It packs and reads with struct; the network is real. Not a test."""

import contextlib
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator

__all__ = ["answer", "time_server"]

_TO_1900_S = 2_208_988_800  # RFC 5905 §6, figure 4: 1 January 1970 as seconds of the prime era


def stamp(instant_s: float) -> bytes:
    """Seconds since 1970 as a timestamp of RFC 5905 §6, its era left away."""
    whole = int(instant_s // 1)
    return struct.pack("!II", (whole + _TO_1900_S) % 2**32, int((instant_s - whole) * 2**32) % 2**32)


def answer(
    request: bytes,
    *,
    ahead_s: float = 0.0,
    leap: int = 0,
    mode: int = 4,
    stratum: int = 2,
    reference: bytes = b"\xc0\x00\x02\x04",
) -> bytes:
    """The answer of RFC 5905 §7.3: leap, version and mode; stratum, poll, precision; delay, dispersion; reference id;
    then four timestamps: reference, origin (what the request called its transmit time), receive, transmit.
    """
    now = stamp(time.time() + ahead_s)
    head = struct.pack("!BBbbII4s", leap << 6 | 4 << 3 | mode, stratum, 6, -20, 0, 0, reference)
    return head + now + request[40:48] + now + now


@contextlib.contextmanager
def time_server(
    reply: Callable[[bytes], bytes | list[bytes]] = answer, *, address: str = "127.0.0.1"
) -> Iterator[int]:
    """Serve until the end of the block. Args: reply: what is sent for a request, several packets in their order. Yields: the port."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as server:
        server.bind((address, 0))

        def serve() -> None:
            while True:
                data, who = server.recvfrom(4096)
                if not data:
                    return
                packets = reply(data)
                for packet in packets if isinstance(packets, list) else [packets]:
                    server.sendto(packet, who)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        try:
            yield server.getsockname()[1]
        finally:
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as last:
                last.sendto(b"", server.getsockname())
            thread.join(40)
