"""Asking one name server for the records of a name or an address (RFC 1035). Its own answer, no cache of ours."""

import asyncio
from dataclasses import dataclass
from typing import Final

import dns.asyncbackend
import dns.asyncquery
import dns.exception
import dns.flags
import dns.message
import dns.name
import dns.rcode
import dns.rdatatype
import dns.reversename

from staddle.kernel import InputRefused
from staddle.probes.addresses import check_goal
from staddle.probes.reasons import reason_of

__all__ = ["DNS_PORT", "DnsAnswer", "Named", "NotKnown", "NotThere", "ask_name", "ask_reverse"]

DNS_PORT: Final = 53  # RFC 1035 §4.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """The values that the server gave, sorted; names in lower case without a last dot."""

    values: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NotThere:
    """The server says that there is no such name, or no such record of it."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NotKnown:
    """The server gave no answer, or none that says anything about the name."""

    why: str


DnsAnswer = Named | NotThere | NotKnown


async def ask_name(
    server: str, name: str, *, version: int, timeout_s: float, port: int = DNS_PORT
) -> DnsAnswer:
    """The addresses of a name.

    Args: server: IPv4 or IPv6 address; version: 4 for A, 6 for AAAA (RFC 3596); timeout_s: for the whole probe.
    Raises: InputRefused: the server is no address, or the name is none.
    """
    try:
        wanted = dns.name.from_text(name)
    except dns.exception.DNSException as exc:
        raise InputRefused.one(f'"{name}" is not a name of DNS', why=str(exc), mend="mend the name") from exc
    kind = dns.rdatatype.A if version == 4 else dns.rdatatype.AAAA
    return await _ask(server, wanted, kind, timeout_s=timeout_s, port=port)


async def ask_reverse(server: str, address: str, *, timeout_s: float, port: int = DNS_PORT) -> DnsAnswer:
    """The names of an address.

    Args: as ask_name.
    Raises: InputRefused: the server or the address is no address.
    """
    check_goal(address, port)
    wanted = dns.reversename.from_address(address)
    return await _ask(server, wanted, dns.rdatatype.PTR, timeout_s=timeout_s, port=port)


async def _ask(
    server: str, wanted: dns.name.Name, kind: dns.rdatatype.RdataType, *, timeout_s: float, port: int
) -> DnsAnswer:
    check_goal(server, port)
    query = dns.message.make_query(wanted, kind)
    try:
        async with asyncio.timeout(timeout_s):
            # A truncated answer is asked for again over TCP (RFC 7766 §5).
            reply, _ = await dns.asyncquery.udp_with_fallback(
                query, server, port=port, backend=dns.asyncbackend.get_backend("asyncio")
            )
    except TimeoutError:
        return NotKnown(why=f"no answer within {timeout_s:g} s")
    except OSError as exc:
        return NotKnown(why=reason_of(exc))
    except (dns.exception.DNSException, EOFError) as exc:
        return NotKnown(why=f"the answer cannot be read: {type(exc).__name__}")
    return _read(reply, kind)


def _read(reply: dns.message.Message, kind: dns.rdatatype.RdataType) -> DnsAnswer:
    code = reply.rcode()
    if code == dns.rcode.NXDOMAIN:
        return NotThere(why="there is no such name")
    if code != dns.rcode.NOERROR:
        return NotKnown(why=f"the server answered {dns.rcode.to_text(code)}")
    if not isinstance(reply, dns.message.QueryMessage):
        return NotKnown(why="what came is no answer to a question")
    try:
        rows = reply.resolve_chaining().answer
    except dns.exception.DNSException as exc:
        return NotKnown(why=f"the answer cannot be read: {type(exc).__name__}")
    if rows is None and not reply.flags & (dns.flags.AA | dns.flags.RA):
        return NotKnown(why="the server does not hold the zone and asks no other for us")
    if rows is None:
        return NotThere(why=f"the name has no {dns.rdatatype.to_text(kind)} record")
    return Named(values=tuple(sorted(row.to_text().removesuffix(".").lower() for row in rows)))
