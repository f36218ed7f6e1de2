"""One probe, sent, and what it saw: for requests --check and for review --live alike. Nothing is judged in here."""

import ipaddress
from typing import Final

from staddle.answers.requests import Probe, ProbeKind
from staddle.kernel import Clock, OurFault, Random
from staddle.probes.dns import DNS_PORT, DnsAnswer, Named, NotKnown, NotThere, ask_name, ask_reverse
from staddle.probes.ntp import NoTime, ask_time
from staddle.probes.tcp import Answered, NoAnswer, probe_tcp
from staddle.review.sights import Saw, Sight

__all__ = ["AT_ONCE", "TIMEOUT_S", "look_at"]

TIMEOUT_S: Final = 3.0
"""Deadline of one probe; common practice, no source."""

AT_ONCE: Final = 8
"""Probes under way at a time: few enough that no name server takes it for a flood; common practice, no source."""

_NO_SERVER: Final = "no name server is known: names.servers, or the network's"


async def look_at(
    probe: Probe, *, dns_port: int = DNS_PORT, clock: Clock, random: Random
) -> tuple[Sight, ...]:
    """Send one probe to everyone whom it asks.

    Returns: a sight for each name server that is asked, else one.
    Raises: OurFault: a probe that only a person, or somebody elsewhere, can carry out.
    """
    match probe.kind:
        case ProbeKind.FORWARD | ProbeKind.REVERSE:
            if not probe.ask:
                return (Sight(probe=probe, asked="", saw=Saw.NOT_SENT, why=_NO_SERVER),)
            return tuple([await _name(probe, server, dns_port) for server in probe.ask])
        case ProbeKind.SILENT | ProbeKind.ANSWERS:
            return (await _tcp(probe),)
        case ProbeKind.TIME:
            return (await _time(probe, dns_port, clock, random),)
    raise OurFault.one(f"a probe of kind {probe.kind} cannot be sent")


async def _name(probe: Probe, server: str, dns_port: int) -> Sight:
    answer = await _ask(probe, server, dns_port)
    if isinstance(answer, Named):
        same = answer.values == tuple(sorted(probe.expect))
        saw, why = Saw.AS_WANTED if same else Saw.OTHERWISE, f"it is {', '.join(answer.values)}"
    else:
        saw, why = (Saw.ABSENT if isinstance(answer, NotThere) else Saw.NO_ANSWER), answer.why
    return Sight(probe=probe, asked=server, saw=saw, why=why)


async def _ask(probe: Probe, server: str, dns_port: int) -> DnsAnswer:
    if probe.kind is ProbeKind.REVERSE:
        return await ask_reverse(server, probe.target, timeout_s=TIMEOUT_S, port=dns_port)
    version = 6 if ":" in probe.expect[0] else 4
    return await ask_name(server, probe.target, version=version, timeout_s=TIMEOUT_S, port=dns_port)


async def _tcp(probe: Probe) -> Sight:
    answer = await probe_tcp(probe.target, probe.port, timeout_s=TIMEOUT_S)
    match answer:
        case Answered():
            saw, why = Saw.OTHERWISE, "something answers"
        case NoAnswer():
            saw, why = Saw.NO_ANSWER, answer.why
        case _:
            saw, why = Saw.ABSENT, answer.why
    wanted = Saw.NO_ANSWER if probe.kind is ProbeKind.SILENT else Saw.OTHERWISE
    return Sight(probe=probe, asked=probe.target, saw=Saw.AS_WANTED if saw is wanted else saw, why=why)


async def _time(probe: Probe, dns_port: int, clock: Clock, random: Random) -> Sight:
    address, why = await _address(probe, dns_port)
    if not address:
        return Sight(probe=probe, asked="", saw=Saw.NOT_SENT, why=why)
    answer = await ask_time(address, timeout_s=TIMEOUT_S, clock=clock, random=random, port=probe.port)
    if isinstance(answer, NoTime):
        saw = Saw.OTHERWISE if answer.answered else Saw.NO_ANSWER
        return Sight(probe=probe, asked=address, saw=saw, why=answer.why)
    bound_ms = answer.offset.error_bound.total_seconds() * 1000
    return Sight(
        probe=probe,
        asked=address,
        saw=Saw.AS_WANTED,
        why=f"its time less ours is {answer.offset.offset_ms:+.1f} ms, within {bound_ms:.1f} ms",
        offset_ms=answer.offset.offset_ms,
        bound_ms=bound_ms,
    )


async def _address(probe: Probe, dns_port: int) -> tuple[str, str]:
    """The time server's address, and why there is none. A name is asked for where the members will ask for it."""
    try:
        return str(ipaddress.ip_address(probe.target)), ""
    except ValueError:
        pass
    why = _NO_SERVER
    for server in probe.ask:
        for version in (4, 6):
            answer = await ask_name(server, probe.target, version=version, timeout_s=TIMEOUT_S, port=dns_port)
            if isinstance(answer, Named) and answer.values:
                return answer.values[0], ""
            why = f"its name has no address: {server}: {answer.why}" if not isinstance(answer, Named) else why
            if isinstance(answer, NotKnown):
                break
    return "", why
