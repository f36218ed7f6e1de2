"""Reading the certificate that a machine shows, without trusting it. Nothing but the handshake is sent."""

import asyncio
from dataclasses import dataclass

from staddle.probes.addresses import check_goal
from staddle.probes.handshake import greet
from staddle.probes.reasons import reason_of
from staddle.trust.fingerprints import Fingerprint, fingerprint_of

__all__ = ["NotSeen", "TlsSeen", "read_certificate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TlsSeen:
    """The leaf certificate as DER, from whoever answered. It proves nothing until its fingerprint is confirmed."""

    der: bytes
    tls_version: str
    elapsed_s: float

    @property
    def fingerprint(self) -> Fingerprint:
        """SHA-256 of the leaf."""
        return fingerprint_of(self.der)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotSeen:
    """No certificate was seen, and why."""

    why: str


async def read_certificate(address: str, port: int, *, timeout_s: float) -> TlsSeen | NotSeen:
    """Shake hands, keep the leaf certificate, hang up.

    Args: address: IPv4 or IPv6, not a name; timeout_s: deadline for the whole probe, positive.
    Raises: InputRefused: not an address, not a port.
    """
    check_goal(address, port)
    loop = asyncio.get_running_loop()
    started = loop.time()
    try:
        async with asyncio.timeout(timeout_s):
            greeted = await greet(address, port)
    except TimeoutError:
        return NotSeen(why=f"no certificate within {timeout_s:g} s")
    except OSError as exc:
        return NotSeen(why=reason_of(exc))
    await greeted.close()
    return TlsSeen(der=greeted.der, tls_version=greeted.tls_version, elapsed_s=loop.time() - started)
