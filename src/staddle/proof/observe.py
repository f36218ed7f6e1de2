"""One round of looking at a cluster from every member, through the ports. Judges nothing, changes only its own keys.

The values that it writes stand under keys that begin with "staddle-proof-", one a member, so that repeats
overwrite and a historian's own data is never touched.
"""

import asyncio
from collections.abc import Awaitable, Mapping, Sequence
from typing import TypeVar

from staddle.kernel import Clock, StaddleError
from staddle.plan.looks import NotYet
from staddle.plan.ports import Appliance, Target, Wire
from staddle.proof.model import Exchange, Expected, ExpectedMember, MemberSaw, Observation
from staddle.trust.certificates import covers_name, facts_of
from staddle.trust.fingerprints import fingerprint_of

__all__ = ["KEY_PREFIX", "observe", "planned_probes"]

KEY_PREFIX = "staddle-proof-"

T = TypeVar("T")


def planned_probes(expected: Expected) -> tuple[str, ...]:
    """What ``observe`` will do, one line a probe, to be shown before it runs."""
    lines = [
        f"read the certificate, health and view of {m.member} at {m.address} port {m.port}"
        for m in expected.members
    ]
    lines += [
        f"write {KEY_PREFIX}{m.member} through {m.member}, read it through each other"
        for m in expected.members
    ]
    return tuple(lines)


async def observe(
    expected: Expected,
    targets: Mapping[str, Target],
    appliance: Appliance,
    wire: Wire,
    clock: Clock,
    *,
    mark: str,
) -> Observation:
    """Look once.

    Args: targets: one for each expected member, with its secret; mark: what makes this round's values its own.
    Returns: what was seen; what could not be seen is told, never raised.
    """
    seen = await asyncio.gather(*(_member(m, targets[m.member], appliance, wire) for m in expected.members))
    exchanges = [
        await _exchange(m.member, expected.members, targets, appliance, mark) for m in expected.members
    ]
    return Observation(at=clock.now(), members=tuple(seen), exchanges=tuple(exchanges))


async def _member(wanted: ExpectedMember, target: Target, appliance: Appliance, wire: Wire) -> MemberSaw:
    der = await wire.read_certificate(target.address, target.port, timeout_s=5)
    if isinstance(der, NotYet):
        return MemberSaw(member=wanted.member, why=der.why)
    fingerprint = fingerprint_of(der).text
    covers = covers_name(facts_of(der), wanted.fqdn)
    # Each by itself: a member that refuses our password still tells of itself, and that is worth seeing.
    health = await _told(appliance.health(target))
    view = await _told(appliance.view(target))
    return MemberSaw(
        member=wanted.member,
        health=None if isinstance(health, NotYet) else health,
        view=None if isinstance(view, NotYet) else view,
        wire_fingerprint=fingerprint,
        covers_name=covers,
        why="; ".join(dict.fromkeys(found.why for found in (health, view) if isinstance(found, NotYet))),
    )


async def _told(asking: Awaitable[T | NotYet]) -> T | NotYet:
    try:
        return await asking
    except StaddleError as exc:
        return NotYet(why=exc.faults[0].what)


async def _exchange(
    writer: str,
    members: Sequence[ExpectedMember],
    targets: Mapping[str, Target],
    appliance: Appliance,
    mark: str,
) -> Exchange:
    key, value = f"{KEY_PREFIX}{writer}", f"{writer} {mark}"
    try:
        await appliance.write(targets[writer], key, value)
    except StaddleError as exc:
        return Exchange(writer=writer, value=value, written=False, reads=(), why=exc.faults[0].what)
    readers = [m.member for m in members if m.member != writer] or [writer]
    reads = await asyncio.gather(*(_read(targets[reader], key, appliance) for reader in readers))
    return Exchange(writer=writer, value=value, written=True, reads=tuple(zip(readers, reads, strict=True)))


async def _read(target: Target, key: str, appliance: Appliance) -> str | None:
    try:
        return await appliance.read(target, key)
    except StaddleError as exc:
        return f"error: {exc.faults[0].what}"
