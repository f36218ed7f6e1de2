"""The command requests: what other people must do before the window."""

import asyncio
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.requests import (
    check_requests,
    make_requests,
    planned_looks,
    requests_of,
    survey_of_requests,
)
from staddle.kernel import SystemClock

__all__ = ["requests"]


def requests(
    *,
    check: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Write what other people must do before the window, with due dates; --check looks what is done.

    Text to paste, whom to ask and by when, as text, CSV, HTML and a calendar. Owners, lead times, holidays and
    signatures come from requests.yaml of the job folder (docs/requests.md).

    Example: staddle requests --check

    Parameters
    ----------
    check
        Write nothing; list the probes, run those that can be run from here, and end with 1 if something due is not done.
    """
    screen = Screen("requests", as_json=options.json)
    code = _check(screen, options) if check else _write(screen, options)
    screen.advise()
    return code


def _write(screen: Screen, options: Options) -> int:
    report = make_requests(options.folder(), SystemClock().now())
    sheet = report.sheet
    late = len(sheet.late())
    screen.show(f"{len(sheet.requests)} requests, {late or 'none'} late")
    screen.show(f"estate {sheet.survey}")
    screen.show(sheet.due.why or f"dates are counted back from the window of {sheet.due.opens}")
    screen.table(
        "",
        ("request", "ask", "lead time", "ask by", ""),
        [
            (
                one.title,
                one.owner,
                f"{one.lead_days} working days",
                "no date" if one.due_on is None else f"{one.due_on:%a} {one.due_on}",
                f"signed by {one.signed_by}" if one.signed_by else "LATE" if one.is_late else "",
            )
            for one in sheet.requests
        ],
    )
    screen.show("written: " + ", ".join(report.files))
    screen.document("written", report)
    return 0


def _check(screen: Screen, options: Options) -> int:
    now = SystemClock().now()
    sheet = requests_of(options.folder(), now)
    survey, findings = survey_of_requests(options.folder(), now)
    screen.say("probes; what needs a person or another place to stand is not run:")
    for line in planned_looks(sheet):
        screen.say(f"  {line}")
    checked = asyncio.run(check_requests(sheet))
    screen.show(f"estate {survey.sentence()}")
    screen.findings(findings)
    for one in checked:
        screen.show(f"{one.standing.value:<12} {one.title}{'   DUE' if one.is_open else ''}")
        for look in one.looks:
            screen.show(f"             {look.standing.value}: {look.probe}")
            screen.show(f"               {look.why}")
    still = [one.title for one in checked if one.is_open]
    screen.show(f"due and not done: {', '.join(still)}" if still else "nothing that is due is open")
    screen.document(
        "due and not done" if still else "nothing due is open",
        {"today": sheet.due.today, "checked": checked, "survey": survey, "findings": findings},
    )
    return 1 if still else 0
