"""The command sheets: answer sheets and zone files."""

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.sheets import make_sheets
from staddle.kernel import SystemClock

__all__ = ["sheets"]


def sheets(*, options: Options = Options()) -> int:  # noqa: B008  frozen
    """Write an answer sheet for each member, and the zone files to ask for.

    The sheets as text, CSV and HTML.

    Example: staddle sheets
    """
    screen = Screen("sheets", as_json=options.json)
    report = make_sheets(options.folder(), SystemClock().now())
    screen.show(f"{len(report.sheets)} answer sheets, {len(report.open_questions)} open questions")
    screen.show(f"estate {report.survey.sentence()}")
    if not report.placed:
        screen.show("hosts are blank: no valid placement is settled (staddle place --settle)")
    for member, label, why in report.open_questions:
        screen.show(f"  open: {member}: {label}: {why}")
    screen.show("written: " + ", ".join(report.files))
    screen.advise()
    screen.document("open questions" if report.open_questions else "complete", report)
    return 0
