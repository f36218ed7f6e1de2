"""Whether something answers on a TCP port. Nothing is sent but the connection's own packets."""

import asyncio
from dataclasses import dataclass

from staddle.probes.addresses import check_goal
from staddle.probes.handshake import hang_up
from staddle.probes.reasons import reason_of

__all__ = ["Answered", "NoAnswer", "Refused", "TcpAnswer", "probe_tcp"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """A connection came about after ``elapsed_s``; who answers is not known."""

    elapsed_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """The machine is there, and nothing listens on this port (or a firewall says so)."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoAnswer:
    """Nothing came back in time, or the network has no way there."""

    why: str


TcpAnswer = Answered | Refused | NoAnswer


async def probe_tcp(address: str, port: int, *, timeout_s: float) -> TcpAnswer:
    """Open a TCP connection and close it again.

    Args: address: IPv4 or IPv6, not a name; timeout_s: deadline for the whole probe, positive.
    Raises: InputRefused: not an address, not a port.
    """
    check_goal(address, port)
    loop = asyncio.get_running_loop()
    started = loop.time()
    try:
        async with asyncio.timeout(timeout_s):
            _, writer = await asyncio.open_connection(address, port)
    except TimeoutError:
        return NoAnswer(why=f"no answer within {timeout_s:g} s")
    except ConnectionRefusedError as exc:
        return Refused(why=reason_of(exc))
    except OSError as exc:
        return NoAnswer(why=reason_of(exc))
    elapsed_s = loop.time() - started
    await hang_up(writer)
    return Answered(elapsed_s=elapsed_s)
