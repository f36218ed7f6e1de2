"""The command place: where the members stand, and why."""

import getpass
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Final

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen, confirm, hanging
from staddle.cli.searching import Progress, ends_after
from staddle.cli.whylines import why_lines
from staddle.jobs.folder import find_job
from staddle.jobs.place import Kept, PlaceReport, found_placement, settle
from staddle.jobs.place import place as find_place
from staddle.jobs.place import why as ask_why
from staddle.kernel import SystemClock, parse_duration
from staddle.placement.keeping import Keeping, apart_in_words, lines_of
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
    also: Annotated[tuple[Path, ...], Parameter(negative=())] = (),
    why: tuple[str, str] | None = None,
    deadline: str = "",
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Find hosts and pools for the members, tell why, and settle it.

    A settled placement is kept while it is valid; after a change the one with the least movement is proposed. Ctrl-C
    ends the search with the best so far.

    Example: staddle place --settle

    Parameters
    ----------
    settle_it
        Settle the placement that is found, after asking.
    anew
        Search even though the settled placement is still valid.
    also
        Another job folder that is placed together with this one; may be given several times.
    why
        A member and a host: tell why the member does not stand there, and what it would cost.
    deadline
        Take the best that is found in this time, for example "30 s". Without it the same question has the same answer.
    """
    screen = Screen("place", as_json=options.json)
    now = SystemClock().now()
    others = tuple(find_job(path) for path in also)
    with Progress(screen) as progress, ends_after(parse_duration(deadline) if deadline else None):
        report = find_place(
            options.folder(), now, also=others, anew=anew, settling=settle_it, progress=progress.told
        )
    screen.show(_verdict(report))
    screen.show(f"estate {report.survey.sentence()}")
    screen.findings(report.findings)
    outcome = _OUTCOMES[type(report.outcome)]
    placement = found_placement(report.outcome)
    if placement is None:
        _conflict(screen, report)
        screen.document(outcome, _data(report, settled=False))
        return 1
    if why is not None:
        answer = ask_why(report, member=why[0], host=why[1])
        for line in why_lines(answer, member=why[0], host=why[1]):
            screen.show(line)
        screen.document("why", {"why": answer, "kind": type(answer).__name__})
        return 0
    _after_a_failure(screen, placement)
    _seats(screen, placement)
    if report.keeping is not None:
        _keeping(screen, report.keeping)
    settled = isinstance(report.outcome, Kept)
    if settle_it and not settled and confirm("Settle this placement?", yes=options.yes):
        settle(report, by=report.job.design.job.engineer or getpass.getuser(), on=now.date())
        settled = True
        screen.show()
        screen.show("settled in placement.yaml; it is kept while it is valid")
    screen.advise()
    screen.document(outcome, _data(report, settled=settled))
    return 0


def _data(report: PlaceReport, *, settled: bool) -> Mapping[str, object]:
    return {
        "found": report.outcome,
        "settled": settled,
        "survey": report.survey,
        "findings": report.findings,
        "keeping": report.keeping,
    }


def _verdict(report: PlaceReport) -> str:
    match report.outcome:
        case Kept():
            return "the settled placement is still valid and is kept; nothing better was looked for (--anew does)"
        case BestShown():
            return "best shown: no better placement exists under the rules of the design"
        case GoodWithBound(level=level, reached=reached, bound=bound):
            broken_off = "the search was broken off; " if report.outcome.stopped else ""
            return (
                f"{broken_off}good, not shown to be the best: {level} is {reached:g}, and nothing can be below "
                f"{bound:g}"
            )
        case NoneExists():
            return "none exists: no placement meets the rules of the design on this estate"
        case NotFoundInTime(limit=limit):
            return f"not found within {limit}; whether one exists is not known"
        case _:
            return "the question is wrong"


def _conflict(screen: Screen, report: PlaceReport) -> None:
    none = report.outcome
    if not isinstance(none, NoneExists):
        return
    how = "each of them is needed for it" if none.irreducible else "not every one may be needed for it"
    if none.stopped:
        how += ", the search was broken off"
    screen.show(f"rules in conflict ({how}):")
    for rule in none.conflict:
        hanging(screen, "  ", rule.text)
        screen.show(f"      where: {rule.where}" if rule.where else f"      rule: {rule.name}")
    screen.show()
    if none.mends:
        screen.show("any one of these would do, each was tried; the cheapest first:")
        for mend in none.mends:
            hanging(screen, "  ", f"{mend.kind}: {mend.text}")
    elif none.stopped:
        screen.show("which changes would help was not looked for to the end")
    else:
        screen.show("no single change was found that would do; two at once were not looked for")
        screen.show(
            "try: give up one of these in design.yaml, or give the estate what they lack: hosts, pools, room"
        )
    if none.undecided_mends:
        screen.show(f"of {none.undecided_mends} more changes it is not known whether they would do")


def _after_a_failure(screen: Screen, placement: Placement) -> None:
    """What is not fine after a failure, so that nobody takes it for fine."""
    if placement.undecided:
        hanging(screen, "", f"not known whether all restarts after: {_some(placement.undecided)}")
    if placement.short_alone:
        text = "guests of others do not all restart, even without these members, after: "
        hanging(screen, "", text + _some(placement.short_alone))
    for why in dict.fromkeys(why for _, why in placement.stops):
        names = [name for name, own in placement.stops if own == why]
        text = f"does not serve, wherever its members stand, until they are back ({why}), after: "
        hanging(screen, "", text + _some(names))


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
            hanging(screen, "    ", part)
    for title, lines in _passed_over(placement):
        screen.show()
        screen.show(title)
        for hosts, reason in lines:
            hanging(screen, "  ", f"{hosts}: {reason}")


def _keeping(screen: Screen, keeping: Keeping) -> None:
    """What is to be set on the platform; what is the same for all members is told once."""
    screen.show()
    screen.show("to set on the platform, so that its balancing does not undo this")
    for row in keeping.apart:
        hanging(screen, "  ", apart_in_words(row))
    who: dict[tuple[str, str], list[str]] = {}
    for member in keeping.members:
        for line in lines_of(keeping, member.member):
            if line[0] != "Keep apart":
                who.setdefault(line, []).append(member.member)
    for (what, value), names in sorted(who.items(), key=lambda row: len(row[1]) == len(keeping.members)):
        whose = "all" if len(names) == len(keeping.members) else _some(names)
        hanging(screen, "  ", f"{whose}: {what.lower()} {value}")


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
