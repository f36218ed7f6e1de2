"""A TLS connection to whoever answers, and the certificate they showed. Nothing is trusted in here.

The certificate authorities and the names in it are not looked at: the caller compares the leaf's fingerprint
(https.py) or only shows it (tls.py). What TLS itself still proves is that the other side holds the leaf's key.
"""

import asyncio
import ssl
from contextlib import suppress
from dataclasses import dataclass
from functools import cache

__all__ = ["Greeted", "greet", "hang_up"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Greeted:
    """An open TLS connection on which nothing was sent yet. ``der`` is the leaf certificate."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    der: bytes
    tls_version: str

    async def close(self) -> None:
        """Drop the connection at once; returns when its socket is closed."""
        await hang_up(self.writer)


@cache
def _context() -> ssl.SSLContext:
    context = ssl.SSLContext(
        ssl.PROTOCOL_TLS_CLIENT
    )  # leaves out anonymous cipher suites, so there is a certificate
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    context.minimum_version = ssl.TLSVersion.TLSv1_2  # RFC 8996: older ones must not be used
    context.set_alpn_protocols(["http/1.1"])
    return context


async def greet(address: str, port: int) -> Greeted:
    """Connect and shake hands, without a deadline of its own: the caller holds one.

    Raises: OSError (ssl.SSLError is one): no connection, or no handshake. Nothing of a request was sent.
    """
    reader, writer = await asyncio.open_connection(address, port, ssl=_context())
    session = writer.get_extra_info("ssl_object")
    der = session.getpeercert(binary_form=True)
    if der is None:
        await hang_up(writer)
        raise ssl.SSLError("the other side showed no certificate")
    return Greeted(reader=reader, writer=writer, der=der, tls_version=session.version() or "")


async def hang_up(writer: asyncio.StreamWriter) -> None:
    """Drop a connection without waiting for the other side; returns when the socket is closed."""
    writer.transport.abort()
    with suppress(OSError):  # how it ended does not matter any more
        await writer.wait_closed()
