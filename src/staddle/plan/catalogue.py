"""Which steps a rollout has, in an order in which each stands after everything that it needs. Pure.

Member by member up to healthy, all at once; then the first founds, the others join one at a time; then the
profile's cluster steps, the proof, the new password, the ejected answers, the seal.
"""

from collections.abc import Sequence
from typing import Final

from staddle.plan.orders import ClusterStep, MemberOrder, Step

__all__ = ["PARALLEL_DELIVERIES", "limits_of", "steps_of"]

PARALLEL_DELIVERIES: Final = 2
"""Deliveries to one pool at the same time. Common practice, no source: 2–4, more only moves the bottleneck."""

_MEMBER_LINE: Final = (
    "create-machine",
    "attach-answers",
    "power-on",
    "await-answer",
    "confirm-fingerprint",
    "await-healthy",
)


def steps_of(members: Sequence[MemberOrder], cluster_steps: Sequence[ClusterStep]) -> tuple[Step, ...]:
    """All steps of one rollout.

    Args: members: exactly one ``leads`` "first"; cluster_steps: from the appliance's profile, in their order.
    Returns: steps in which needs always stand before the step that names them.
    """
    steps = [Step(step_id="cluster/verify-package", kind="verify-package")]
    steps.append(Step(step_id="cluster/book-room", kind="book-room", needs=("cluster/verify-package",)))
    for member in members:
        steps.extend(_until_healthy(member))
    leader = next(m for m in members if m.leads == "first")
    founded = f"{leader.member}/found"
    steps.append(_member_step(leader, "found", (f"{leader.member}/await-healthy",)))
    for member in members:
        if member is not leader:
            needs = (f"{member.member}/await-healthy", founded)
            steps.append(_member_step(member, "join", needs, resources=("join",)))
    for member in members:
        entered = "found" if member is leader else "join"
        steps.append(_member_step(member, "await-seen", (f"{member.member}/{entered}",)))
    everyone = tuple(f"{m.member}/await-seen" for m in members)
    for act in cluster_steps:
        after: tuple[str, ...] = everyone if act.after == "all" else (f"cluster/{act.after}",)
        steps.append(Step(step_id=f"cluster/{act.name}", kind="cluster-act", subject=act.name, needs=after))
    steps.append(
        Step(
            step_id="cluster/prove",
            kind="prove",
            needs=(*everyone, *(f"cluster/{a.name}" for a in cluster_steps)),
        )
    )
    steps.append(Step(step_id="cluster/rotate-password", kind="rotate-password", needs=("cluster/prove",)))
    ejected = [_member_step(m, "eject-answers", ("cluster/rotate-password",)) for m in members]
    steps.extend(ejected)
    steps.append(Step(step_id="cluster/seal", kind="seal", needs=tuple(step.step_id for step in ejected)))
    return tuple(steps)


def limits_of(steps: Sequence[Step]) -> tuple[tuple[str, int], ...]:
    """How many steps may hold each resource at the same time: one joiner, a few deliveries a pool."""
    names = sorted({resource for step in steps for resource in step.resources})
    return tuple((name, 1 if name == "join" else PARALLEL_DELIVERIES) for name in names)


def _until_healthy(member: MemberOrder) -> list[Step]:
    delivered = [
        Step(
            step_id=f"{member.member}/deliver-disk/{disk.disk_id}",
            kind="deliver-disk",
            member=member.member,
            subject=disk.disk_id,
            site=member.site,
            needs=("cluster/book-room",),
            resources=(f"deliver to {disk.pool}",),
        )
        for disk in member.disks
    ]
    steps = list(delivered)
    needs: tuple[str, ...] = tuple(step.step_id for step in delivered) or ("cluster/book-room",)
    for kind in _MEMBER_LINE:
        steps.append(_member_step(member, kind, needs))
        needs = (steps[-1].step_id,)
    return steps


def _member_step(
    member: MemberOrder, kind: str, needs: tuple[str, ...], *, resources: tuple[str, ...] = ()
) -> Step:
    return Step(
        step_id=f"{member.member}/{kind}",
        kind=kind,
        member=member.member,
        site=member.site,
        needs=needs,
        resources=resources,
    )
