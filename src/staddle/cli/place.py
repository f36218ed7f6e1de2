"""The command place: where the members stand, and why."""

import getpass
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen, confirm
from staddle.jobs.place import Kept, PlaceReport, found_placement, settle
from staddle.jobs.place import place as find_place
from staddle.kernel import SystemClock
from staddle.placement.model import BestShown, GoodWithBound, NoneExists, NotFoundInTime, Placement

__all__ = ["place"]


def place(
    *,
    settle_it: Annotated[bool, Parameter(name="--settle", negative=())] = False,
    anew: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Find hosts and pools for the members, tell why each, and settle it when you agree.

    Example: staddle place --settle

    Parameters
    ----------
    settle_it
        Settle the placement that is found, after asking.
    anew
        Search even though the settled placement is still valid.
    """
    screen = Screen("place", as_json=options.json)
    now = SystemClock().now()
    report = find_place(options.folder(), now, anew=anew, progress=screen.say)
    verdict = _verdict(report)
    screen.show(verdict)
    placement = found_placement(report.outcome)
    if placement is None:
        _conflict(screen, report)
        screen.document(type(report.outcome).__name__, report.outcome)
        return 1
    _seats(screen, placement)
    if (
        settle_it
        and not isinstance(report.outcome, Kept)
        and confirm("Settle this placement?", yes=options.yes)
    ):
        settle(report, by=report.job.design.job.engineer or getpass.getuser(), on=now.date())
        screen.show("settled in placement.yaml; it is kept while it is valid")
    screen.document(type(report.outcome).__name__, report.outcome)
    return 0


def _verdict(report: PlaceReport) -> str:
    match report.outcome:
        case Kept():
            return "the settled placement is still valid and is kept; nothing better was looked for (--anew does)"
        case BestShown():
            return "best shown: no better placement exists under the rules of the design"
        case GoodWithBound(level=level, reached=reached, bound=bound):
            return (
                f"good, not shown to be the best: {level} is {reached:g}, and nothing can be below {bound:g}"
            )
        case NoneExists():
            return "none exists: no placement meets the rules of the design on this estate"
        case NotFoundInTime(limit=limit):
            return f"not found within {limit}; whether one exists is not known"
        case _:
            return "the question is wrong"


def _conflict(screen: Screen, report: PlaceReport) -> None:
    if isinstance(report.outcome, NoneExists):
        how = (
            "each of them is needed for it"
            if report.outcome.irreducible
            else "not every one may be needed for it"
        )
        screen.show(f"rules in conflict ({how}):")
        for rule in report.outcome.conflict:
            screen.show(f"  {rule.name}: {rule.text}")


def _seats(screen: Screen, placement: Placement) -> None:
    screen.show()
    rows = [
        (seat.member, seat.host, ", ".join(f"{disk} on {pool}" for disk, pool in seat.disks))
        for seat in placement.seats
    ]
    screen.table("seats", ("member", "host", "disks"), rows)
    for title, lines in (
        ("why here", placement.reasons),
        ("passed over", tuple((p.host, p.reason) for p in placement.passed_over)),
    ):
        if lines:
            screen.show()
            screen.show(title)
            for name, text in lines:
                screen.show(f"  {name}: {text}")
