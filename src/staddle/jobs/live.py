"""The read-only probes of review --live: which there are, to be listed first, and sending them once somebody agreed."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain

from staddle.answers.asking import all_requests
from staddle.answers.requests import Probe, ProbeKind
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.looks import AT_ONCE, look_at
from staddle.jobs.requests import asked_of
from staddle.jobs.rollouts import ROLLOUT, last_rollout, open_journal
from staddle.kernel import Clock, Fault, InputRefused, Random
from staddle.probes.addresses import authority, check_goal
from staddle.probes.dns import DNS_PORT
from staddle.probes.ntp import NTP_PORT
from staddle.review.sights import Saw, Sight
from staddle.rollout.run import fold

__all__ = ["LivePlan", "look_live", "planned_live"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LivePlan:
    """The probes that would be sent, and those that would not, each with its reason."""

    probes: tuple[Probe, ...]
    unsent: tuple[Sight, ...]

    def lines(self) -> tuple[str, ...]:
        """Each as a line: what is sent, to whom, on which port; or that it is not sent, and why."""
        return (
            *map(_line, self.probes),
            *(f"not sent ({one.why}): {one.probe.text()}" for one in self.unsent),
        )


def planned_live(
    folder: JobFolder,
    now: datetime,
    *,
    reach: Sequence[str] = (),
    ntp_port: int = NTP_PORT,
) -> LivePlan:
    """Every probe that would be sent. Sends nothing.

    Args: reach: more places that must answer on TCP, each "address:port", IPv6 in brackets.
    Raises: InputRefused: the job cannot be read, or a place in ``reach`` is none.
    """
    places = tuple(_place(text) for text in reach)
    job = gather(folder, now)
    probes: list[Probe] = []
    unsent: list[Sight] = []
    servers: tuple[str, ...] = job.design.names.servers
    if job.addresses is not None:
        asked = asked_of(job)
        servers = asked.name_servers
        stands = _stands(job)
        for one in chain.from_iterable(request.probes for request in all_requests(asked)):
            if one.kind is ProbeKind.SILENT and stands:
                why = f"{stands} has made the members"
                unsent.append(Sight(probe=one, asked="", saw=Saw.NOT_SENT, why=why))
            elif one.kind in (ProbeKind.SILENT, ProbeKind.FORWARD, ProbeKind.REVERSE):
                probes.append(one)
    # RFC 7766 §5: what answers over UDP must answer over TCP too, or a long answer never comes.
    probes += [Probe(kind=ProbeKind.ANSWERS, target=one, port=DNS_PORT) for one in servers]
    probes += [
        Probe(kind=ProbeKind.TIME, target=one, port=ntp_port, ask=() if _is_address(one) else servers)
        for one in job.design.clock.servers
    ]
    probes += [Probe(kind=ProbeKind.ANSWERS, target=address, port=port) for address, port in places]
    return LivePlan(probes=tuple(dict.fromkeys(probes)), unsent=tuple(unsent))


def _line(one: Probe) -> str:
    match one.kind:
        case ProbeKind.FORWARD | ProbeKind.REVERSE:
            to = ", ".join(f"{authority(server, DNS_PORT)}/udp" for server in one.ask) or "nobody"
            return f"a question to {to}: is {one.target} {', '.join(one.expect)}?"
        case ProbeKind.TIME:
            first = f" (its address is asked of {one.ask[0]} first)" if one.ask else ""
            return f"a question to {one.target} port {one.port}/udp: what time is it?{first}"
        case ProbeKind.SILENT:
            return f"a connection to {authority(one.target, one.port)}/tcp, opened and closed: nothing must answer"
    return f"a connection to {authority(one.target, one.port)}/tcp, opened and closed: something must answer"


async def look_live(
    plan: LivePlan, *, clock: Clock, random: Random, dns_port: int = DNS_PORT
) -> tuple[Sight, ...]:
    """Send them, a few at a time. Returns: what was seen, in the order of the plan, then what was not sent."""
    slots = asyncio.Semaphore(AT_ONCE)

    async def look(one: Probe) -> tuple[Sight, ...]:
        async with slots:
            return await look_at(one, dns_port=dns_port, clock=clock, random=random)

    seen = await asyncio.gather(*(look(one) for one in plan.probes))
    return (*chain.from_iterable(seen), *plan.unsent)


def _stands(job: Gathered) -> str:
    """The name of the rollout whose machines stand, "" for none: then members are meant to answer."""
    if not job.folder.journal.exists():
        return ""
    store = open_journal(job.folder)
    try:
        head = last_rollout(store, job.design.job.name, ROLLOUT)
        if head is None or not fold(head.plan, store.entries(head.rollout_id)).leaves_something:
            return ""
        return head.rollout_id
    finally:
        store.close()


def _place(text: str) -> tuple[str, int]:
    address, _, port = text.rpartition(":")
    address = address.removeprefix("[").removesuffix("]")
    if not port.isdecimal():
        fault = Fault(
            what=f'"{text}" is not address:port', mend="write for example 192.0.2.1:22 or [2001:db8::1]:22"
        )
        raise InputRefused(fault)
    check_goal(address, int(port))
    return address, int(port)


def _is_address(text: str) -> bool:
    try:
        check_goal(text, NTP_PORT)
    except InputRefused:
        return False
    return True
