"""The command sheets: answer sheets and zone files."""

from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.sheets import SheetsReport, answer_questions, make_sheets
from staddle.kernel import SystemClock

__all__ = ["sheets"]


def sheets(
    *,
    answer: Annotated[tuple[str, ...], Parameter(negative=(), consume_multiple=False)] = (),
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Write an answer sheet for each member, and the zone files to ask for.

    The sheets as text, CSV and HTML.

    Example: staddle sheets --answer sluicelog.log_level=debug

    Parameters
    ----------
    answer
        Answer a question of the package for all members, as KEY=ANSWER; ${name} in it is filled in for each member.
        Several times. Kept in package.rules of design.yaml.
    """
    screen = Screen("sheets", as_json=options.json)
    if answer:
        answer_questions(options.folder(), SystemClock().now(), answer)
        screen.show(f"kept in design.yaml: {len(answer)} answers")
    report = make_sheets(options.folder(), SystemClock().now())
    screen.show(f"{len(report.sheets)} answer sheets, {len(report.open_questions)} open questions")
    screen.show(f"estate {report.survey.sentence()}")
    if not report.placed:
        screen.show("hosts are blank: no valid placement is settled (staddle place --settle)")
    for member, label, why in report.open_questions:
        screen.show(f"  open: {member}: {label}: {why}")
    if report.open_keys:
        _tell_how(screen, report)
    screen.show("written: " + ", ".join(report.files))
    screen.advise()
    screen.document("open questions" if report.open_questions else "complete", report)
    return 0


def _tell_how(screen: Screen, report: SheetsReport) -> None:
    wide = max(len(key) for key, _ in report.open_keys)
    screen.show("answer them for all members with --answer 'KEY=ANSWER', once for each KEY of")
    for key, label in report.open_keys:
        screen.show(f"  {key:<{wide}}  {label}")
    screen.show(
        "an answer may hold what the design knows of each member, in single quotes; for the first member"
    )
    known = [(f"${{{name}}}", value) for name, value in report.known if value]
    wide = max(len(name) for name, _ in known)
    for name, value in known:
        screen.show(f"  {name:<{wide}}  {value}")
