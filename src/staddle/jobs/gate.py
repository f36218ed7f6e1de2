"""The change gate of a job: asked with what its design says now, not with what a rollout pinned.

A window or an approval that was agreed on since is meant to count; the plan and all else stay as pinned.
"""

from dataclasses import replace
from datetime import datetime

from staddle.jobs.gather import Gathered
from staddle.kernel import NotAllowed
from staddle.rollout.gate import Approval, Emergency, Open, Plea, Refused, Verdict, gate, next_opening

__all__ = ["closed_told", "gate_of", "gate_told", "pass_gate"]


def gate_of(job: Gathered, *, actor: str, now: datetime, plea: Plea | None = None) -> Verdict:
    """What the gate says of the job now. Args: actor: who runs the program, an implementer beside the engineer."""
    said = job.design.job
    verdict = gate(
        job.design.windows,
        Approval(
            change=said.change,
            approved_by=said.approved_by,
            approved_on=said.approved_on,
            implementers=tuple(dict.fromkeys((said.engineer, actor))),
        ),
        now,
        plea,
    )
    if isinstance(verdict, Refused):
        return Refused(
            faults=tuple(
                fault if fault.where.startswith("--") else replace(fault, where=job.places.find(fault.where))
                for fault in verdict.faults
            )
        )
    return verdict


def pass_gate(job: Gathered, *, actor: str, now: datetime, plea: Plea | None = None) -> Open | Emergency:
    """The same where the work is to begin. Raises: NotAllowed: the gate refuses, with every reason."""
    verdict = gate_of(job, actor=actor, now=now, plea=plea)
    if isinstance(verdict, Refused):
        raise NotAllowed(*verdict.faults)
    return verdict


def gate_told(verdict: Verdict) -> tuple[str, ...]:
    """What the gate says, as lines."""
    match verdict:
        case Open(until=until, approval=approval):
            return (
                f"the change gate is open until {until:%Y-%m-%d %H:%M} UTC: change {approval.change}, "
                f"approved by {approval.approved_by} on {approval.approved_on}",
            )
        case Emergency(plea=plea, passed_over=passed_over):
            who = plea.allowed_by.strip() or "nobody who could be named"
            return (
                f"EMERGENCY, let happen by {who}: {plea.reason.strip()}",
                *(f"  passed over: {fault.what}" for fault in passed_over),
            )
    return ("the change gate would refuse:", *(f"  {line}" for f in verdict.faults for line in f.lines()))


def closed_told(job: Gathered, verdict: Verdict | None, now: datetime) -> str:
    """That the window which was open has closed, and when the next one opens; "" while it has not."""
    if not isinstance(verdict, Open) or now < verdict.until:
        return ""
    coming = next_opening(job.design.windows, now)
    then = f"the next opens at {coming.opens} {coming.zone}" if coming is not None else "no other is named"
    return f"the window closed at {verdict.until:%Y-%m-%d %H:%M} UTC, and nothing further was begun; {then}"
