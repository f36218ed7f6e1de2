"""Rules of change.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of, windows

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "no-change-reference": [
        (
            lambda: facts_of(("  change: OM-2611\n", "")),
            (
                Finding(
                    rule="no-change-reference",
                    severity=Severity.RISK,
                    what="job.change is empty",
                    where="design.yaml:2:3",
                    why="nobody has approved the work, and its record leads nowhere",
                    mend="raise the change and write its reference into job.change",
                    source="ISO/IEC 20000-1, change management; NIST SP 800-128 (from memory)",
                ),
            ),
        ),
    ],
    "no-approver": [
        (
            lambda: facts_of(("approved_by: H. Marle", 'approved_by: " "')),
            (
                Finding(
                    rule="no-approver",
                    severity=Severity.RISK,
                    what="job.approved_by is empty",
                    where="design.yaml:7:16",
                    why="the change gate refuses the rollout, and the record cannot show the approval",
                    mend="write the name into job.approved_by and the day into job.approved_on",
                    source="ISO/IEC 20000-1, change management; NIST SP 800-128 (from memory)",
                ),
            ),
        ),
        (
            lambda: facts_of(("  approved_on: 2026-11-18\n", "")),
            (
                Finding(
                    rule="no-approver",
                    severity=Severity.RISK,
                    what="job.approved_on is empty",
                    where="design.yaml:2:3",
                    why="the change gate refuses the rollout, and the record cannot show the approval",
                    mend="write the name into job.approved_by and the day into job.approved_on",
                    source="ISO/IEC 20000-1, change management; NIST SP 800-128 (from memory)",
                ),
            ),
        ),
    ],
    "approver-is-engineer": [
        (
            lambda: facts_of(("approved_by: H. Marle", "approved_by: r.FENWOLD")),
            (
                Finding(
                    rule="approver-is-engineer",
                    severity=Severity.RISK,
                    what="R. Fenwold is both",
                    where="design.yaml:7:16",
                    why="nobody else has looked at it, and the change gate refuses the rollout",
                    mend="have somebody else approve it, and name them",
                    source="ISO/IEC 20000-1, change management: approver not equal to implementer (from memory)",
                ),
            ),
        ),
    ],
    "approval-ahead": [
        (
            lambda: facts_of(("approved_on: 2026-11-18", "approved_on: 2026-12-07")),
            (
                Finding(
                    rule="approval-ahead",
                    severity=Severity.RISK,
                    what="approved on 2026-12-07, today is 2026-11-25",
                    where="design.yaml:8:16",
                    why="nobody can have approved it then, or not in time for the work",
                    mend="write the day on which it was approved",
                    source=PRACTICE,
                ),
                Finding(
                    rule="approval-ahead",
                    severity=Severity.RISK,
                    what="approved on 2026-12-07, the last window closes at 2026-12-06 02:00 Europe/London",
                    where="design.yaml:8:16",
                    why="nobody can have approved it then, or not in time for the work",
                    mend="write the day on which it was approved",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "no-owner": [
        (
            lambda: facts_of(("owner: hydrology", 'owner: " "')),
            (
                Finding(
                    rule="no-owner",
                    severity=Severity.NOTE,
                    what="job.owner is empty",
                    where="design.yaml:4:10",
                    why="nobody is there to ask when it must be stopped, enlarged or retired",
                    mend="write the team into job.owner",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "no-engineer": [
        (
            lambda: facts_of(("  engineer: R. Fenwold\n", "")),
            (
                Finding(
                    rule="no-engineer",
                    severity=Severity.NOTE,
                    what="job.engineer is empty",
                    where="design.yaml:2:3",
                    why="the record cannot show that the one who approved is not the one who did it",
                    mend="write the name into job.engineer",
                    source="ISO/IEC 20000-1, change management: approver not equal to implementer (from memory)",
                ),
            ),
        ),
    ],
    "no-window": [
        (
            lambda: facts_of(windows()),
            (
                Finding(
                    rule="no-window",
                    severity=Severity.RISK,
                    what="windows is empty",
                    where="design.yaml:42:10",
                    why="nothing says when the estate may be changed, nor when the work must be over",
                    mend="agree on a window and write it into windows",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "windows-past": [
        (
            lambda: facts_of(now=datetime(2026, 12, 6, 2, tzinfo=UTC)),
            (
                Finding(
                    rule="windows-past",
                    severity=Severity.RISK,
                    what="the last window closed at 2026-12-06 02:00 Europe/London",
                    where="design.yaml:43:3",
                    why="the work would be done outside the time that was agreed on",
                    mend="agree on a new window",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "short-window": [
        (
            lambda: facts_of(windows(("2026-12-05 20:00", "2026-12-05 21:59", "Europe/London"))),
            (
                Finding(
                    rule="short-window",
                    severity=Severity.RISK,
                    what="the window of 2026-12-05 20:00 Europe/London lasts 1 h 59 min",
                    where="design.yaml:43:5",
                    why="at half of it the work must be backed out or be certain to finish; little is left for anything unforeseen",
                    mend="agree on two to six hours",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "window-on-clock-change": [
        # Check value of the IANA data: Europe/London changes on 2026-10-25 and 2027-03-28, both at 01:00 UTC.
        (
            lambda: facts_of(
                windows(
                    ("2026-10-24 20:00", "2026-10-25 03:00", "Europe/London"),
                    ("2027-03-27 20:00", "2027-03-28 03:00", "Europe/London"),
                    ("2027-03-27 15:00", "2027-03-27 21:00", "Europe/London"),
                )
            ),
            (
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of Europe/London go back by 1 h in the window of 2026-10-24 20:00, which lasts 8 h",
                    where="design.yaml:43:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of Europe/London go forward by 1 h in the window of 2027-03-27 20:00, which lasts 6 h",
                    where="design.yaml:44:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                # It closes at 21:00 UTC; four hours later it is 01:00 UTC, the instant of the change.
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.NOTE,
                    what="the clocks of Europe/London go forward by 1 h within 4 h after the window of 2027-03-27 15:00",
                    where="design.yaml:45:5",
                    why="if the work or its back-out takes longer, it runs into the change",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
            ),
        ),
        (
            lambda: facts_of(
                windows(
                    ("2026-10-24 22:00", "2026-10-25 04:00", "Europe/Berlin"),
                    ("2026-03-28 22:00", "2026-03-29 04:00", "Europe/Berlin"),
                    ("2026-03-07 22:00", "2026-03-08 06:00", "America/New_York"),
                    ("2026-10-31 22:00", "2026-11-01 06:00", "America/New_York"),
                    ("2026-10-03 22:00", "2026-10-04 06:00", "Australia/Lord_Howe"),
                    ("2026-03-28 22:00", "2026-03-29 06:00", "Antarctica/Troll"),
                )
            ),
            (
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of Europe/Berlin go back by 1 h in the window of 2026-10-24 22:00, which lasts 7 h",
                    where="design.yaml:43:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of Europe/Berlin go forward by 1 h in the window of 2026-03-28 22:00, which lasts 5 h",
                    where="design.yaml:44:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of America/New_York go forward by 1 h in the window of 2026-03-07 22:00, which lasts 7 h",
                    where="design.yaml:45:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of America/New_York go back by 1 h in the window of 2026-10-31 22:00, which lasts 9 h",
                    where="design.yaml:46:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of Australia/Lord_Howe go forward by 30 min in the window of 2026-10-03 22:00, which lasts 7 h 30 min",
                    where="design.yaml:47:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
                Finding(
                    rule="window-on-clock-change",
                    severity=Severity.RISK,
                    what="the clocks of Antarctica/Troll go forward by 2 h in the window of 2026-03-28 22:00, which lasts 6 h",
                    where="design.yaml:48:5",
                    why="times in run cards, records and other people's calendars mean two things, or nothing, that night",
                    mend="take another night",
                    source="IANA tz database, the installed release",
                ),
            ),
        ),
    ],
    "window-in-freeze": [
        (
            lambda: facts_of(
                windows(
                    ("2026-12-14 20:00", "2026-12-15 02:00", "Europe/London"),
                    ("2027-01-05 20:00", "2027-01-06 02:00", "Europe/London"),
                    ("2026-11-30 20:00", "2026-12-01 02:00", "Europe/London"),
                )
            ),
            (
                Finding(
                    rule="window-in-freeze",
                    severity=Severity.NOTE,
                    what="the window of 2026-12-14 20:00 lies between 15 December and 5 January",
                    where="design.yaml:43:5",
                    why="many organisations allow no change around the turn of the year, and closings run at the end of a month",
                    mend="ask whether a freeze holds then",
                    source=PRACTICE,
                ),
                Finding(
                    rule="window-in-freeze",
                    severity=Severity.NOTE,
                    what="the window of 2027-01-05 20:00 lies between 15 December and 5 January",
                    where="design.yaml:44:5",
                    why="many organisations allow no change around the turn of the year, and closings run at the end of a month",
                    mend="ask whether a freeze holds then",
                    source=PRACTICE,
                ),
                Finding(
                    rule="window-in-freeze",
                    severity=Severity.NOTE,
                    what="the window of 2026-11-30 20:00 lies at the end of a month",
                    where="design.yaml:45:5",
                    why="many organisations allow no change around the turn of the year, and closings run at the end of a month",
                    mend="ask whether a freeze holds then",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "long-window": [
        (
            lambda: facts_of(windows(("2026-12-05 20:00", "2026-12-06 04:01", "Europe/London"))),
            (
                Finding(
                    rule="long-window",
                    severity=Severity.NOTE,
                    what="the window of 2026-12-05 20:00 Europe/London lasts 8 h 1 min",
                    where="design.yaml:43:5",
                    why="people tire, shifts change, and the point of no return is put off until nobody watches it",
                    mend="agree on two to six hours, or part the work over two windows",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "no-change-reference": [
        lambda: facts_of(),
    ],
    "no-approver": [
        lambda: facts_of(),
    ],
    "approver-is-engineer": [
        lambda: facts_of(),
        lambda: facts_of(("approved_by: H. Marle", 'approved_by: ""'), ("  engineer: R. Fenwold\n", "")),
    ],
    "approval-ahead": [
        lambda: facts_of(("approved_on: 2026-11-18", "approved_on: 2026-11-25")),
        lambda: facts_of(("  approved_on: 2026-11-18\n", "")),
    ],
    "no-owner": [
        lambda: facts_of(),
    ],
    "no-engineer": [
        lambda: facts_of(),
    ],
    "no-window": [
        lambda: facts_of(),
    ],
    "windows-past": [
        lambda: facts_of(now=datetime(2026, 12, 6, 1, 59, tzinfo=UTC)),
        lambda: facts_of(windows(), now=datetime(2027, 1, 1, tzinfo=UTC)),
    ],
    "short-window": [
        lambda: facts_of(windows(("2026-12-05 20:00", "2026-12-05 22:00", "Europe/London"))),
    ],
    "window-on-clock-change": [
        lambda: facts_of(
            windows(
                ("2026-10-24 22:00", "2026-10-25 04:00", "Asia/Kolkata"),
                ("2026-10-24 16:00", "2026-10-24 22:00", "Europe/Berlin"),
                ("2027-03-27 15:00", "2027-03-27 20:59", "Europe/London"),
            )
        ),
    ],
    "window-in-freeze": [
        lambda: facts_of(
            windows(
                ("2026-12-13 20:00", "2026-12-14 02:00", "Europe/London"),
                ("2027-01-06 20:00", "2027-01-07 02:00", "Europe/London"),
                ("2026-12-01 20:00", "2026-12-02 02:00", "Europe/London"),
            )
        ),
    ],
    "long-window": [
        lambda: facts_of(windows(("2026-12-05 20:00", "2026-12-06 04:00", "Europe/London"))),
    ],
}
