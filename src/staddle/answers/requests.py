"""The requests sheet: what other people must do before the window, whom to ask, by when, and what shows it is done.

Values only. What is asked for and in which words is asking.py's, the job's own owners and lead times are
requestfile.py's, text and pages are made in requestforms.py and the calendar in duedates.py. Nothing is probed here.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from enum import StrEnum
from zoneinfo import ZoneInfo

from staddle.answers.requestfile import RequestLine, RequestsFile
from staddle.answers.workdays import working_day_before
from staddle.design.localtime import window_span
from staddle.design.model import Window

__all__ = ["DuePlan", "Probe", "ProbeKind", "Request", "RequestsSheet", "dated", "due_plan"]


class ProbeKind(StrEnum):
    """How it can be shown that a request is done."""

    FORWARD = "names to addresses"
    REVERSE = "addresses to names"
    SILENT = "nothing answers"
    REACH = "reach"
    ANSWERS = "something answers"
    TIME = "the time is told"
    PERSON = "signed by a person"


@dataclass(frozen=True, slots=True, kw_only=True)
class Probe:
    """One thing to look at.

    Args: target: a name, an address with its port, or what a person signs; expect: the records wanted, sorted;
        ask: the name servers that must each say so.
    """

    kind: ProbeKind
    target: str
    port: int = 0
    expect: tuple[str, ...] = ()
    ask: tuple[str, ...] = ()

    def text(self) -> str:
        """The probe as one line for people."""
        if self.kind in (ProbeKind.FORWARD, ProbeKind.REVERSE):
            at = ", ".join(self.ask) or "no name server is known"
            return f"{self.target} is {', '.join(self.expect)} (ask {at})"
        if self.kind is ProbeKind.SILENT:
            return f"nothing answers at {self.target} port {self.port}"
        if self.kind is ProbeKind.ANSWERS:
            return f"something answers at {self.target} port {self.port}"
        if self.kind is ProbeKind.TIME:
            at = f" (its address from {', '.join(self.ask)})" if self.ask else ""
            return f"{self.target} port {self.port} tells the time{at}"
        if self.kind is ProbeKind.REACH:
            return f"{self.target} (not checked here)"
        return f"signed by a person: {self.target}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """One thing to ask one owner for.

    Args: kind: its word in requests.yaml; lead_days: working days that the owner needs; due_on: the last day to ask,
        None without a window; is_late: that day is past and nobody signed; signed_by: who says it is done.
    """

    kind: str
    title: str
    text: str
    owner: str
    lead_days: int
    probes: tuple[Probe, ...]
    due_on: date | None = None
    is_late: bool = False
    signed_by: str = ""
    signed_on: date | None = None

    def is_due(self, today: date) -> bool:
        """Whether the last day to ask has come. Without a date nothing is due."""
        return self.due_on is not None and self.due_on <= today


@dataclass(frozen=True, slots=True, kw_only=True)
class DuePlan:
    """From what due dates are counted. ``opens_on`` is the local day of the window; None with ``why`` if there is none.

    ``today`` is the local day in the window's zone, in UTC where there is no window.
    """

    today: date
    opens: str = ""
    opens_on: date | None = None
    why: str = ""
    holidays: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestsSheet:
    """All requests of a job, the earliest due date first. ``survey`` tells how old the estate's survey is."""

    job: str
    cluster: str
    zone: str
    change: str
    drawn: str
    made_at: datetime
    due: DuePlan
    requests: tuple[Request, ...]
    survey: str = ""

    def late(self) -> tuple[Request, ...]:
        """The requests that should have been made before today."""
        return tuple(one for one in self.requests if one.is_late)


def due_plan(windows: Sequence[Window], now: datetime, holidays: Sequence[date]) -> DuePlan:
    """The first window that has not closed, as the day from which dates are counted back.

    Args: windows: in any order; now: aware.
    Raises: InputRefused: a window whose times do not exist, exist twice, or are in the wrong order.
    """
    ahead = [(span[0], one) for one in windows if (span := window_span(one))[1] > now]
    if not ahead:
        why = "every window of the design has closed" if windows else "the design has no window"
        return DuePlan(
            today=now.astimezone(UTC).date(), why=f"{why}, so nothing has a date", holidays=tuple(holidays)
        )
    first, window = min(ahead, key=lambda pair: pair[0])
    zone = ZoneInfo(window.zone)
    return DuePlan(
        today=now.astimezone(zone).date(),
        opens=f"{window.opens} {window.zone}",
        opens_on=first.astimezone(zone).date(),
        holidays=tuple(holidays),
    )


def dated(requests: Sequence[Request], file: RequestsFile, due: DuePlan) -> tuple[Request, ...]:
    """The requests with what the job's own file says of them, their due dates, and those that are late marked.

    Returns: the earliest due date first; those of one day, or without a day, in the order given.
    """
    lines: dict[str, RequestLine] = {line.request: line for line in file.requests}
    rows = [_dated(one, lines.get(one.kind), due) for one in requests]
    return tuple(sorted(rows, key=lambda one: one.due_on or date.max))


def _dated(one: Request, line: RequestLine | None, due: DuePlan) -> Request:
    lead = one.lead_days if line is None or line.lead_days is None else line.lead_days
    day = None if due.opens_on is None else working_day_before(due.opens_on, lead, due.holidays)
    is_signed = line is not None and line.done
    return replace(
        one,
        owner=(line.owner if line is not None else "") or one.owner,
        lead_days=lead,
        due_on=day,
        is_late=day is not None and day < due.today and not is_signed,
        signed_by=line.by if line is not None and is_signed else "",
        signed_on=line.day if line is not None and is_signed else None,
    )
