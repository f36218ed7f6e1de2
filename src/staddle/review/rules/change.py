"""Rules about the change: its reference, its owner, its windows."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from staddle.design.localtime import window_span
from staddle.design.model import Window
from staddle.design.persons import same_name
from staddle.kernel import Severity, format_duration
from staddle.review.facts import Facts
from staddle.review.rule import Found, rule

_SHORTEST: Final = timedelta(hours=2)
_LONGEST: Final = timedelta(hours=8)
_OVERRUN: Final = timedelta(hours=4)
_FREEZE: Final = ((12, 15), (1, 5))  # mid-December to early January, both days in it


def _windows(facts: Facts) -> Iterator[tuple[str, Window, datetime, datetime]]:
    for number, window in enumerate(facts.design.windows):
        opens, closes = window_span(window)
        yield f"windows[{number}]", window, opens, closes


@rule(
    name="no-change-reference",
    severity=Severity.RISK,
    title="No reference in change control",
    reason="nobody has approved the work, and its record leads nowhere",
    mend="raise the change and write its reference into job.change",
    source="ISO/IEC 20000-1, change management; NIST SP 800-128 (from memory)",
)
def no_change_reference(facts: Facts) -> Iterator[Found]:
    if not facts.design.job.change.strip():
        yield Found(what="job.change is empty", where=facts.at("job.change"))


@rule(
    name="no-approver",
    severity=Severity.RISK,
    title="Nobody is named who approved the change, or no day",
    reason="the change gate refuses the rollout, and the record cannot show the approval",
    mend="write the name into job.approved_by and the day into job.approved_on",
    source="ISO/IEC 20000-1, change management; NIST SP 800-128 (from memory)",
)
def no_approver(facts: Facts) -> Iterator[Found]:
    job = facts.design.job
    if not job.approved_by.strip():
        yield Found(what="job.approved_by is empty", where=facts.at("job.approved_by"))
    elif job.approved_on is None:
        yield Found(what="job.approved_on is empty", where=facts.at("job.approved_on"))


@rule(
    name="approver-is-engineer",
    severity=Severity.RISK,
    title="The change is approved by whoever carries it out",
    reason="nobody else has looked at it, and the change gate refuses the rollout",
    mend="have somebody else approve it, and name them",
    source="ISO/IEC 20000-1, change management: approver not equal to implementer (from memory)",
)
def approver_is_engineer(facts: Facts) -> Iterator[Found]:
    job = facts.design.job
    if same_name(job.approved_by, job.engineer):
        yield Found(what=f"{job.engineer.strip()} is both", where=facts.at("job.approved_by"))


@rule(
    name="approval-ahead",
    severity=Severity.RISK,
    title="The approval is dated ahead, or after the last window",
    reason="nobody can have approved it then, or not in time for the work",
    mend="write the day on which it was approved",
)
def approval_ahead(facts: Facts) -> Iterator[Found]:
    on = facts.design.job.approved_on
    if on is None:
        return
    where = facts.at("job.approved_on")
    if on > facts.today:
        yield Found(what=f"approved on {on}, today is {facts.today}", where=where)
    ends = [(closes, window) for _, window, _, closes in _windows(facts)]
    if ends:
        closes, window = max(ends, key=lambda one: one[0])
        if on > closes.astimezone(ZoneInfo(window.zone)).date():
            yield Found(
                what=f"approved on {on}, the last window closes at {window.closes} {window.zone}", where=where
            )


@rule(
    name="no-owner",
    severity=Severity.NOTE,
    title="No team answers for the cluster",
    reason="nobody is there to ask when it must be stopped, enlarged or retired",
    mend="write the team into job.owner",
)
def no_owner(facts: Facts) -> Iterator[Found]:
    if not facts.design.job.owner.strip():
        yield Found(what="job.owner is empty", where=facts.at("job.owner"))


@rule(
    name="no-engineer",
    severity=Severity.NOTE,
    title="Nobody is named who carries the work out",
    reason="the record cannot show that the one who approved is not the one who did it",
    mend="write the name into job.engineer",
    source="ISO/IEC 20000-1, change management: approver not equal to implementer (from memory)",
)
def no_engineer(facts: Facts) -> Iterator[Found]:
    if not facts.design.job.engineer.strip():
        yield Found(what="job.engineer is empty", where=facts.at("job.engineer"))


@rule(
    name="no-window",
    severity=Severity.RISK,
    title="No window is named",
    reason="nothing says when the estate may be changed, nor when the work must be over",
    mend="agree on a window and write it into windows",
)
def no_window(facts: Facts) -> Iterator[Found]:
    if not facts.design.windows:
        yield Found(what="windows is empty", where=facts.at("windows"))


@rule(
    name="windows-past",
    severity=Severity.RISK,
    title="All windows are over",
    reason="the work would be done outside the time that was agreed on",
    mend="agree on a new window",
)
def windows_past(facts: Facts) -> Iterator[Found]:
    spans = list(_windows(facts))
    if spans and all(closes <= facts.now for _, _, _, closes in spans):
        _, window, _, _ = max(spans, key=lambda one: one[3])
        yield Found(
            what=f"the last window closed at {window.closes} {window.zone}", where=facts.at("windows")
        )


@rule(
    name="short-window",
    severity=Severity.RISK,
    title="A window is shorter than two hours",
    reason="at half of it the work must be backed out or be certain to finish; little is left for anything unforeseen",
    mend="agree on two to six hours",
)
def short_window(facts: Facts) -> Iterator[Found]:
    for path, window, opens, closes in _windows(facts):
        if closes - opens < _SHORTEST:
            yield Found(
                what=f"the window of {window.opens} {window.zone} lasts {format_duration(closes - opens)}",
                where=facts.at(path),
            )


@rule(
    name="long-window",
    severity=Severity.NOTE,
    title="A window is longer than eight hours",
    reason="people tire, shifts change, and the point of no return is put off until nobody watches it",
    mend="agree on two to six hours, or part the work over two windows",
)
def long_window(facts: Facts) -> Iterator[Found]:
    for path, window, opens, closes in _windows(facts):
        if closes - opens > _LONGEST:
            yield Found(
                what=f"the window of {window.opens} {window.zone} lasts {format_duration(closes - opens)}",
                where=facts.at(path),
            )


@rule(
    name="window-on-clock-change",
    severity=Severity.RISK,
    title="The clocks change within a window, or within four hours after it",
    reason="times in run cards, records and other people's calendars mean two things, or nothing, that night",
    mend="take another night",
    source="IANA tz database, the installed release",
)
def window_on_clock_change(facts: Facts) -> Iterator[Found]:
    for path, window, opens, closes in _windows(facts):
        before, within, later = (_offset(instant, window) for instant in (opens, closes, closes + _OVERRUN))
        turned = "forward" if later > before else "back"
        if before != within:
            yield Found(
                what=f"the clocks of {window.zone} go {turned} by {format_duration(abs(within - before))} in the window "
                f"of {window.opens}, which lasts {format_duration(closes - opens)}",
                where=facts.at(path),
            )
        elif within != later:
            yield Found(
                what=f"the clocks of {window.zone} go {turned} by {format_duration(abs(later - within))} within "
                f"{format_duration(_OVERRUN)} after the window of {window.opens}",
                where=facts.at(path),
                why="if the work or its back-out takes longer, it runs into the change",
                severity=Severity.NOTE,
            )


def _offset(instant: datetime, window: Window) -> timedelta:
    return instant.astimezone(ZoneInfo(window.zone)).utcoffset() or timedelta(0)


@rule(
    name="window-in-freeze",
    severity=Severity.NOTE,
    title="A window lies in the usual freeze or at the end of a month",
    reason="many organisations allow no change around the turn of the year, and closings run at the end of a month",
    mend="ask whether a freeze holds then",
)
def window_in_freeze(facts: Facts) -> Iterator[Found]:
    for path, window, opens, closes in _windows(facts):
        zone = ZoneInfo(window.zone)
        days = [instant.astimezone(zone).date() for instant in (opens, closes)]
        months_end = any((day + timedelta(days=1)).day == 1 for day in days)
        frozen = any((day.month, day.day) >= _FREEZE[0] or (day.month, day.day) <= _FREEZE[1] for day in days)
        if months_end or frozen:
            when = "between 15 December and 5 January" if frozen else "at the end of a month"
            yield Found(what=f"the window of {window.opens} lies {when}", where=facts.at(path))
