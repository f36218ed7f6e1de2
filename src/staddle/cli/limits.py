"""The command limits: what the maker supports, and what is not known of it."""

from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.limits import LimitsReport, look_at_limits, start_limits

__all__ = ["limits"]


def limits(
    *,
    start: Annotated[bool, Parameter(negative=())] = False,
    form: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Tell what the maker supports by its papers, and what is unknown.

    Example: staddle limits --form

    Parameters
    ----------
    start
        Write a limits.yaml with every question and no answer, to be filled.
    form
        Print the questions as a text for the maker instead, with what is known filled in.
    """
    screen = Screen("limits", as_json=options.json)
    folder = options.folder()
    if start:
        file = start_limits(folder)
        screen.show(f"written: {file}; fill it from the maker's papers, then: staddle review")
        screen.document("started", {"file": file})
        return 0
    report = look_at_limits(folder)
    if form:
        screen.show(report.form.rstrip("\n"))
    else:
        _tell(screen, report)
    screen.document("no file" if report.limits is None else "read", report)
    return 0


def _tell(screen: Screen, report: LimitsReport) -> None:
    if report.limits is None:
        screen.show("there is no limits.yaml; staddle limits --start begins one, --form asks the maker")
    elif report.limits.rows:
        rows = [
            (row.what, row.written, row.applies_to, row.source, str(row.dated)) for row in report.limits.rows
        ]
        screen.table("the maker's limits", ("what", "value", "applies to", "source", "dated"), rows)
        screen.show()
    if report.unknown:
        screen.table("unknown", ("what", "the question"), [(what, asks) for what, asks, _ in report.unknown])
