"""The command place: where the members stand, and why."""

import getpass
import re
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Final

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import WIDTH, Screen, confirm
from staddle.jobs.place import Kept, PlaceReport, found_placement, settle
from staddle.jobs.place import place as find_place
from staddle.kernel import SystemClock
from staddle.placement.model import BestShown, GoodWithBound, NoneExists, NotFoundInTime, Placement

__all__ = ["place"]

_MOST_NAMED: Final = 8

_OUTCOMES: Final[Mapping[type, str]] = {
    Kept: "kept",
    BestShown: "best shown",
    GoodWithBound: "good with a bound",
    NoneExists: "none exists",
    NotFoundInTime: "not found in the limit",
}
"""The outcomes of docs/json.md."""


def place(
    *,
    settle_it: Annotated[bool, Parameter(name="--settle", negative=())] = False,
    anew: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Find hosts and pools for the members, tell why, and settle it.

    A settled placement is kept while it is valid; after a change the one with the least movement is proposed.

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
    report = find_place(options.folder(), now, anew=anew, settling=settle_it, progress=screen.say)
    screen.show(_verdict(report))
    screen.show(f"estate {report.survey.sentence()}")
    screen.findings(report.findings)
    outcome = _OUTCOMES[type(report.outcome)]
    placement = found_placement(report.outcome)
    if placement is None:
        _conflict(screen, report)
        screen.document(outcome, _data(report, settled=False))
        return 1
    _seats(screen, placement)
    settled = isinstance(report.outcome, Kept)
    if settle_it and not settled and confirm("Settle this placement?", yes=options.yes):
        settle(report, by=report.job.design.job.engineer or getpass.getuser(), on=now.date())
        settled = True
        screen.show()
        screen.show("settled in placement.yaml; it is kept while it is valid")
    screen.document(outcome, _data(report, settled=settled))
    return 0


def _data(report: PlaceReport, *, settled: bool) -> Mapping[str, object]:
    return {"found": report.outcome, "settled": settled, "survey": report.survey, "findings": report.findings}


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
        screen.show(
            "try: give up one of these in design.yaml, or give the estate what they lack: hosts, pools, room"
        )


def _seats(screen: Screen, placement: Placement) -> None:
    screen.show()
    rows = [
        (seat.member, seat.host, ", ".join(f"{disk} on {pool}" for disk, pool in seat.disks))
        for seat in placement.seats
    ]
    screen.table("seats", ("member", "host", "disks"), rows)
    if placement.reasons:
        screen.show()
        screen.show("why here")
    for member, reason in placement.reasons:
        screen.show(f"  {member}")
        for part in reason.split("; "):
            _hanging(screen, "    ", part)
    for title, lines in _passed_over(placement):
        screen.show()
        screen.show(title)
        for hosts, reason in lines:
            _hanging(screen, "  ", f"{hosts}: {reason}")


def _passed_over(placement: Placement) -> Iterator[tuple[str, list[tuple[str, str]]]]:
    """What is said of the hosts that were not taken, as (title, lines): first what holds for every member, then the rest."""
    groups: dict[tuple[str, ...], dict[str, str]] = {}
    for row in placement.passed_over:
        groups.setdefault(row.members, {})[row.host] = row.reason
    common = (
        set[tuple[str, str]]()
        .union(*(rows.items() for rows in groups.values()))
        .intersection(*(rows.items() for rows in groups.values()))
    )
    if len(groups) > 1 and common:
        shared = {host: why for host, why in next(iter(groups.values())).items() if (host, why) in common}
        yield "passed over for every member", _by_reason(shared)
        groups = {
            who: {h: w for h, w in rows.items() if (h, w) not in common} for who, rows in groups.items()
        }
    for members, rows in groups.items():
        if rows:
            yield f"passed over for {', '.join(members) or 'all members'}", _by_reason(rows)


def _by_reason(rows: Mapping[str, str]) -> list[tuple[str, str]]:
    hosts: dict[str, list[str]] = {}
    for host, reason in rows.items():
        hosts.setdefault(reason, []).append(host)
    return [(_some(names), reason) for reason, names in hosts.items()]


def _some(names: Sequence[str]) -> str:
    rest = len(names) - _MOST_NAMED
    return ", ".join(names[:_MOST_NAMED]) + (f" and {rest} more" if rest > 0 else "")


def _hanging(screen: Screen, indent: str, text: str) -> None:
    # A number stays with its unit: textwrap does not break at a no-break space.
    for line in textwrap.wrap(
        re.sub(r"(?<=\d) (?=%|[KMGTP]?i?B\b)", "\N{NO-BREAK SPACE}", text),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "    ",
        break_long_words=False,
        break_on_hyphens=False,
    ):
        screen.show(line.replace("\N{NO-BREAK SPACE}", " "))
