"""Judging one observation against what is expected: every comparison becomes a check. Pure.

What was not looked at is a check that is not good: an observation that lacks a member, a write or a read proves less
than was asked for, and must not pass for a proof.
"""

from collections import Counter
from collections.abc import Iterator, Sequence

from staddle.plan.ports import View
from staddle.proof.model import Check, Expected, ExpectedMember, MemberSaw, Observation, Proof, Sight

__all__ = ["judge"]


def judge(expected: Expected, seen: Observation, *, rounds: int = 1) -> Proof:
    """The proof that an observation gives.

    Args: seen: what was seen of the expected members; rounds: looks in a row that agreed.
    Returns: a proof with at least one check for each member; good only if all checks are.
    """
    by_member = {saw.member: saw for saw in seen.members}
    saws = [
        by_member.get(m.member, MemberSaw(member=m.member, why="not looked at")) for m in expected.members
    ]
    checks = list(_checks(expected, saws, seen))
    return Proof(
        at=seen.at,
        cluster=expected.cluster,
        good=all(check.good for check in checks),
        rounds=rounds,
        checks=tuple(checks),
        sights=tuple(_sights(expected, saws)),
        exchanges=seen.exchanges,
    )


def _checks(expected: Expected, saws: Sequence[MemberSaw], seen: Observation) -> Iterator[Check]:
    for wanted, saw in zip(expected.members, saws, strict=True):
        yield from _of_member(expected, wanted, saw)
    yield from _of_views(expected, saws)
    yield from _of_exchanges(expected, seen)


def _check(name: str, subject: str, wanted: object, found: object) -> Check:
    return Check(name=name, subject=subject, good=wanted == found, expected=str(wanted), seen=str(found))


def _of_member(expected: Expected, wanted: ExpectedMember, saw: MemberSaw) -> Iterator[Check]:
    me = wanted.member
    yield _check(
        "certificate as in the journal",
        me,
        wanted.fingerprint,
        saw.wire_fingerprint or saw.why or "none seen",
    )
    covers = f"names {wanted.fqdn}"
    yield _check(
        "certificate's names", me, covers, covers if saw.covers_name else f"does not name {wanted.fqdn}"
    )
    if saw.health is None:
        yield Check(
            name="answers", subject=me, good=False, expected="its health", seen=saw.why or "no answer"
        )
        return
    health = saw.health
    yield _check("healthy", me, True, health.healthy)
    yield _check("in the cluster", me, True, health.in_cluster)
    yield _check("name", me, wanted.fqdn, health.name)
    yield _check("version", me, expected.version, health.version)
    yield _check(
        "size",
        me,
        f"{wanted.processors} processors, {wanted.memory_mib} MiB",
        f"{health.processors} processors, {health.memory_mib} MiB",
    )
    offset = abs(health.clock_offset_ms)
    yield Check(
        name="clock",
        subject=me,
        good=offset <= expected.most_offset_ms,
        expected=f"within {expected.most_offset_ms} ms of ours",
        seen=f"{health.clock_offset_ms:+.0f} ms",
    )


def _of_views(expected: Expected, saws: Sequence[MemberSaw]) -> Iterator[Check]:
    views = {saw.member: saw.view for saw in saws if saw.view is not None}
    for saw in saws:
        if saw.view is None:
            yield Check(
                name="view", subject=saw.member, good=False, expected="its view", seen=saw.why or "none given"
            )
    # What most see is the measure, so that the odd one out is named and not those that differ from it.
    cluster_id = _most([view.cluster_id for view in views.values()])
    leader = _most([view.leader or "none" for view in views.values()])
    deputy = next((m.fqdn for m in expected.members if m.leads == "second"), "")
    for member, view in views.items():
        yield _check("cluster's name", member, expected.cluster, view.cluster)
        yield _check("same cluster as the others", member, cluster_id, view.cluster_id)
        yield _check("same leader as the others", member, leader, view.leader or "none")
        # After a take-over the deputy leads, and whoever follows it is the appliance's to say.
        if deputy and view.leader != deputy:
            yield _check("deputy", member, deputy, view.deputy or "none")
        yield from _of_one_view(expected, member, view)


def _most(values: Sequence[str]) -> str:
    """The value that most have; of equally many, the one that comes first. "" for no values."""
    return Counter(values).most_common(1)[0][0] if values else ""


def _of_one_view(expected: Expected, member: str, view: View) -> Iterator[Check]:
    yield Check(
        name="has a leader",
        subject=member,
        good=view.leader in {m.fqdn for m in expected.members},
        expected="one of the members",
        seen=view.leader or "none",
    )
    listed = {m.name: m for m in view.members}
    wanted = _names([m.fqdn for m in expected.members])
    yield _check("lists the members of the design", member, wanted, _names([m.name for m in view.members]))
    for other in expected.members:
        found = listed.get(other.fqdn)
        if found is None:
            continue
        yield _check(f"address of {other.member}", member, other.address, found.address)
        yield _check(f"certificate of {other.member}", member, other.fingerprint, found.fingerprint.upper())
        yield _check(f"hears {other.member}", member, True, found.heard)


def _names(names: Sequence[str]) -> str:
    return ", ".join(sorted(names))


def _of_exchanges(expected: Expected, seen: Observation) -> Iterator[Check]:
    exchanges = {exchange.writer: exchange for exchange in seen.exchanges}
    names = [m.member for m in expected.members]
    for writer in names:
        exchange = exchanges.get(writer)
        if exchange is None:
            yield _check("a write through it", writer, "acknowledged", "not tried")
            continue
        wrote = "acknowledged" if exchange.written else exchange.why or "not acknowledged"
        yield Check(
            name="a write through it",
            subject=writer,
            good=exchange.written,
            expected="acknowledged",
            seen=wrote,
        )
        if not exchange.written:
            continue
        reads = dict(exchange.reads)
        for reader in [name for name in names if name != writer] or names:
            value = reads.get(reader, "not tried")
            yield Check(
                name=f"a read of what {writer} wrote",
                subject=reader,
                good=value == exchange.value,
                expected=exchange.value,
                seen="nothing" if value is None else value,
            )


def _sights(expected: Expected, saws: Sequence[MemberSaw]) -> Iterator[Sight]:
    for viewer, saw in zip(expected.members, saws, strict=True):
        listed = {} if saw.view is None else {m.name: m for m in saw.view.members}
        for viewed in expected.members:
            found = listed.get(viewed.fqdn)
            if saw.view is None:
                mark = "silent"
            elif found is None:
                mark = "unlisted"
            elif viewed is viewer:
                mark = "self"
            else:
                mark = "hears" if found.heard else "lost"
            yield Sight(viewer=viewer.member, viewed=viewed.member, mark=mark)
