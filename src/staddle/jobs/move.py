"""move: one member put on another host by a person: which rule that breaks or what it costs; chosen, it may be settled.

The others stay. What the best would be if they moved along is asked with place.why; settling is place.settle's.
"""

from dataclasses import dataclass, replace

from staddle.jobs.place import Chosen, PlaceReport, found_placement
from staddle.kernel import Fault, InputRefused, NotAllowed, digest_of
from staddle.placement.cost import LEVELS, level_values
from staddle.placement.data import Tables
from staddle.placement.explain import explain, put, worse_in_words
from staddle.placement.model import Placement, Seat
from staddle.placement.reserve import ReserveCheck
from staddle.placement.verify import broken_rules

__all__ = ["MoveReport", "choose", "move", "seats_digest"]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveReport:
    """What putting a member there means, the others staying.

    ``stays``: it stands there already. ``breaks`` are the rules that would be broken, one sentence each; () where all
    hold. ``text`` tells the first level that gets worse; ``seats`` are everybody's then, () where the host itself cannot
    take it. ``undecided`` are failures after which it is not known whether everything restarts.
    """

    member: str
    host: str
    stays: bool
    breaks: tuple[str, ...]
    text: str
    seats: tuple[Seat, ...]
    undecided: tuple[str, ...] = ()


def move(report: PlaceReport, *, member: str, host: str) -> MoveReport:
    """Put that member on that host, on paper. Changes nothing.

    Raises: InputRefused: no such member or host. NotAllowed: there is no placement to move in.
    """
    placement = found_placement(report.outcome)
    if placement is None:
        raise NotAllowed.one("there is no placement to move a member in", mend="place the members first")
    problem = report.problem
    known = (("member", member, problem.members), ("host", host, problem.hosts))
    faults = [
        Fault(what=f'there is no {kind} "{name}"', mend="choose one that stands in the drawing")
        for kind, name, rows in known
        if name not in {row.name for row in rows}
    ]
    if faults:
        raise InputRefused(*faults)
    seats = placement.seats
    position = next(i for i, row in enumerate(problem.members) if row.name == member)
    if seats[position].host == host:
        return MoveReport(member=member, host=host, stays=True, breaks=(), text="", seats=seats)
    tables = Tables(problem)
    there = put(tables, seats, position=position, host=problem.hosts[tables.host_at[host]])
    if there.bar:
        return MoveReport(member=member, host=host, stays=False, breaks=(there.bar,), text="", seats=())
    breaks, undecided = _breaks(report, tables, there.seats)
    return MoveReport(
        member=member,
        host=host,
        stays=False,
        breaks=breaks,
        text=there.text,
        seats=there.seats,
        undecided=undecided,
    )


def choose(report: PlaceReport, seats: tuple[Seat, ...], *, member: str) -> PlaceReport:
    """The same report with these seats as its placement, ready to be settled. Args: member: whose move it was.

    Raises: NotAllowed: there was no placement before, or these seats break a rule: with every one of them.
    """
    before = found_placement(report.outcome)
    if before is None:
        raise NotAllowed.one("there is no placement to move a member in", mend="place the members first")
    tables = Tables(report.problem)
    breaks, undecided = _breaks(report, tables, seats)
    if breaks:
        raise NotAllowed(
            *(Fault(what=text, mend="choose another host, or change the design") for text in breaks)
        )
    position = next(i for i, row in enumerate(report.problem.members) if row.name == member)
    reasons, passed_over = explain(tables, seats, next_best={})
    return replace(
        report,
        outcome=Chosen(
            text=worse_in_words(tables, before.seats, seats, position),
            placement=Placement(
                seats=seats,
                reasons=reasons,
                passed_over=passed_over,
                levels=tuple(zip(LEVELS, map(float, level_values(tables, seats)), strict=True)),
                undecided=undecided,
            ),
        ),
    )


def seats_digest(seats: tuple[Seat, ...]) -> str:
    """A short text that tells one placement from another: what was shown is what is settled."""
    return digest_of(seats)[:16]


def _breaks(
    report: PlaceReport, tables: Tables, seats: tuple[Seat, ...]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    at_rest = broken_rules(report.problem, seats)
    if at_rest:
        return at_rest, ()
    answer = ReserveCheck(tables).check(seats, frozenset(group.name for group in tables.groups), every=True)
    after = tuple(dict.fromkeys(f"after {row.scenario}: {row.reason}" for row in answer.shortages))
    return after, answer.undecided
