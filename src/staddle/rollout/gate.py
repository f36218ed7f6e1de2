"""The change gate: whether a rollout may work now, by the design's windows and the approval of its change. Pure.

The instant comes in as an argument. A window holds its first instant and not its last. Who is asked, and what is
recorded, is jobs/'s; how local times become instants is design/localtime.py's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from typing import Final
from zoneinfo import ZoneInfo

from staddle.design.localtime import window_span
from staddle.design.model import Window
from staddle.design.persons import same_name
from staddle.kernel import Fault
from staddle.rollout.facts import Record
from staddle.rollout.states import Event

__all__ = [
    "Approval",
    "Emergency",
    "Open",
    "Plea",
    "Refused",
    "Verdict",
    "emergency_told",
    "gate",
    "latest_day",
    "next_opening",
    "note_of",
    "open_until",
]

_FIRST_ZONE: Final = timezone(timedelta(hours=14))  # where a day begins first


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """The change's reference and who approved it when; ``implementers`` are the names of whoever carries it out."""

    change: str
    approved_by: str
    approved_on: date | None
    implementers: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plea:
    """What is said for going on in an emergency. ``allowed_by``: who let it happen, "" where nobody can be named."""

    reason: str
    allowed_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Open:
    """The work may begin; from ``until`` on nothing further is begun."""

    until: datetime
    approval: Approval


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Every reason against. ``where`` of a fault is a path of the design."""

    faults: tuple[Fault, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Emergency:
    """The work may begin because of an emergency; ``passed_over`` is what the gate would have refused it for."""

    plea: Plea
    change: str
    passed_over: tuple[Fault, ...]


Verdict = Open | Refused | Emergency


def gate(windows: Sequence[Window], approval: Approval, now: datetime, plea: Plea | None = None) -> Verdict:
    """Whether the work may begin now.

    Args: plea: given only where somebody asked for the emergency path.
    Raises: InputRefused: a window is none (no such zone, a local time that is skipped or repeated).
    Source: ISO/IEC 20000-1, change management: approver not equal to implementer (from memory); no window means no
        agreed time, and is refused: common practice, no source.
    """
    faults = (*_approval_faults(approval, now), *_window_faults(windows, now))
    if plea is not None:
        against = _plea_faults(plea, approval)
        return (
            Refused(faults=against)
            if against
            else Emergency(plea=plea, change=approval.change, passed_over=faults)
        )
    until = open_until(windows, now)
    if faults or until is None:
        return Refused(faults=faults)
    return Open(until=until, approval=approval)


def open_until(windows: Sequence[Window], now: datetime) -> datetime | None:
    """When the window that is open now closes, over windows that overlap or adjoin; None: none is open."""
    until = None
    for opens, closes in sorted(map(window_span, windows)):
        if opens <= (until or now) and closes > (until or now):
            until = closes
    return until


def next_opening(windows: Sequence[Window], now: datetime) -> Window | None:
    """The window that opens next; None: none is still to come."""
    coming = [(window_span(window)[0], window) for window in windows if window_span(window)[0] > now]
    return min(coming, key=lambda one: one[0])[1] if coming else None


def latest_day(now: datetime) -> date:
    """The latest day that it is anywhere: a day in the design is a local one, and begins first at UTC+14."""
    return now.astimezone(_FIRST_ZONE).date()


def note_of(verdict: Open | Emergency) -> Record:
    """What the journal keeps of a run that the gate let begin."""
    if isinstance(verdict, Open):
        approval = verdict.approval
        return Record(
            step_id="",
            event=Event.NOTED,
            intent=f"the change gate is open until {verdict.until:%Y-%m-%d %H:%M} UTC",
            evidence={
                "gate": "open",
                "change": approval.change,
                "approved_by": approval.approved_by,
                "approved_on": str(approval.approved_on),
                "until": verdict.until.isoformat(),
            },
        )
    evidence: Mapping[str, object] = {
        "gate": "emergency",
        "reason": verdict.plea.reason.strip(),
        "allowed_by": verdict.plea.allowed_by.strip() or "missing",
        "change": verdict.change,
        "passed_over": [fault.what for fault in verdict.passed_over],
    }
    return Record(step_id="", event=Event.NOTED, intent=emergency_told(evidence), evidence=evidence)


def emergency_told(evidence: Mapping[str, object]) -> str:
    """An emergency in words, from the evidence of its entry; "" for the evidence of anything else."""
    if evidence.get("gate") != "emergency":
        return ""
    by = evidence.get("allowed_by")
    who = "who let it happen is missing" if by == "missing" else f"let happen by {by}"
    return f"emergency: {evidence.get('reason')} ({who})"


def _approval_faults(approval: Approval, now: datetime) -> tuple[Fault, ...]:
    faults = []
    if not approval.change.strip():
        faults.append(
            Fault(
                what="the change has no reference",
                where="job.change",
                why="nothing leads from this rollout to what was approved",
                mend="raise the change and write its reference into job.change",
            )
        )
    if not approval.approved_by.strip():
        faults.append(
            Fault(
                what="nobody is named who approved the change",
                where="job.approved_by",
                why="a change is approved by somebody who does not carry it out",
                mend="write the name into job.approved_by and the day into job.approved_on",
            )
        )
    elif approval.approved_on is None:
        faults.append(
            Fault(
                what="the approval has no day",
                where="job.approved_on",
                why="nobody could find it again",
                mend="write the day of the approval into job.approved_on",
            )
        )
    if approval.approved_on is not None and approval.approved_on > latest_day(now):
        faults.append(
            Fault(
                what=f"the approval is dated {approval.approved_on}, a day that has not come",
                where="job.approved_on",
                why="nobody can have approved it then",
                mend="write the day on which it was approved",
            )
        )
    if any(same_name(approval.approved_by, name) for name in approval.implementers):
        faults.append(
            _own_word(approval.approved_by, "job.approved_by", "approved the change and carries it out")
        )
    return tuple(faults)


def _own_word(name: str, where: str, what: str) -> Fault:
    return Fault(
        what=f"{name.strip()} {what}",
        where=where,
        why="approver and implementer are two persons: nobody approves their own work",
        mend="have somebody else approve it, and name them",
    )


def _plea_faults(plea: Plea, approval: Approval) -> tuple[Fault, ...]:
    faults = []
    if not plea.reason.strip():
        faults.append(
            Fault(
                what="the emergency has no reason",
                where="--emergency",
                why="it is recorded with its reason, and approved by it afterwards",
                mend='write the reason: staddle rollout --emergency "REASON"',
            )
        )
    if any(same_name(plea.allowed_by, name) for name in approval.implementers):
        faults.append(
            _own_word(plea.allowed_by, "--allowed-by", "let the emergency happen and carries it out")
        )
    return tuple(faults)


def _window_faults(windows: Sequence[Window], now: datetime) -> tuple[Fault, ...]:
    if open_until(windows, now) is not None:
        return ()
    told = f"it is {now:%Y-%m-%d %H:%M} UTC"
    if not windows:
        return (
            Fault(
                what="no window is named",
                where="windows",
                why=f"{told}, and nobody agreed that the estate may be changed now",
                mend="agree on a window and write it into windows",
            ),
        )
    coming = next_opening(windows, now)
    zone = (coming or windows[-1]).zone
    local = f"{told}, {now.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M} in {zone}"
    if coming is None:
        last = max(windows, key=lambda window: window_span(window)[1])
        return (
            Fault(
                what=f"all windows are over; the last closed at {last.closes} {last.zone}",
                where="windows",
                why=local,
                mend="agree on a new window and write it into windows",
            ),
        )
    return (
        Fault(
            what="no window is open now",
            where="windows",
            why=local,
            mend=f"run the same command in the next window: it opens at {coming.opens} {coming.zone} "
            f"({window_span(coming)[0]:%Y-%m-%d %H:%M} UTC)",
        ),
    )
