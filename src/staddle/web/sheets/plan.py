"""The sheet plan: where the members stand; fail a part, empty a host, move a member, and see what comes of it; settle.

Every question stands in the address. The placement is jobs/place.py's, what a failure means jobs/survive.py's.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from staddle.dossier.plan_links import PlanLinks
from staddle.jobs.move import MoveReport, seats_digest
from staddle.jobs.place import Chosen, Kept, PlaceReport, found_placement, settle
from staddle.jobs.plan import Part, Plan
from staddle.jobs.survey import refuse_old_survey
from staddle.jobs.survive import Basis, EvacuationReport, empty_on, fail_on
from staddle.kernel import Finding, NotAllowed
from staddle.placement.model import BestShown, GoodWithBound, NoneExists, NotFoundInTime, Seat
from staddle.placement.why import Costs, Why
from staddle.survival.judge import Judgement
from staddle.web.asked import Asked
from staddle.web.judged import lasting, sentence_of
from staddle.web.placing import Searching
from staddle.web.sheet import Ask, Moved, Sheet, Shown
from staddle.web.typed import Typed

__all__ = ["SHEET", "PlanData"]

_MOST_LISTED_HOSTS: Final = 200
_MOST_RESTARTS: Final = 60
_MOST_DRAWN_ROWS: Final = 40
_DRAWN: Final = ("host", "rack", "site")  # what the drawing itself lets one click


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberRow:
    """One member where it stands; ``state`` is "" or what the failure does to it."""

    member: str
    role: str
    host: str
    inside: str
    disks: str
    state: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """One row of the legend. ``taken_percent`` of a pool, None of a domain; ``along``: it was not failed itself, and fails with what was."""

    name: str
    inside: str
    holds: str
    taken_percent: int | None
    ours_percent: int
    failed: bool
    along: bool
    address: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RestartRow:
    """One displaced machine and where it restarts, in the order of restart."""

    machine: str
    from_host: str
    to_host: str
    memory_bytes: int
    ours: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureShown:
    """What failed, judged."""

    judgement: Judgement
    sentence: str
    back: str
    restarts: tuple[RestartRow, ...]
    more_restarts: int
    stay_down: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveShown:
    """What a move means: with the others staying, and (where it was asked) with the others moving along."""

    report: MoveReport
    along: Why | None
    along_kind: str
    along_search: Searching | None
    along_moves: tuple[tuple[str, str, str], ...]
    along_address: str
    allowed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanData:
    """The plan. ``searching`` is not None while a placement is looked for; then nothing else is there.

    ``outcome`` is "kept", "best shown", "good with a bound", "none exists", "not found in the limit" or "chosen".
    """

    asked: Asked
    searching: Searching | None = None
    page: str = "/plan"
    outcome: str = ""
    verdict: str = ""
    sentence: str = ""
    basis: Basis | None = None
    survey: str = ""
    findings: tuple[Finding, ...] = ()
    conflict: tuple[tuple[str, str], ...] = ()
    mends: tuple[tuple[str, str], ...] = ()
    drawing: str = ""
    drawing_words: str = ""
    is_large: bool = False
    members: tuple[MemberRow, ...] = ()
    legend: tuple[tuple[str, tuple[PartRow, ...]], ...] = ()
    failure: FailureShown | None = None
    stand_again: str = "/plan"
    move: MoveShown | None = None
    evacuation: EvacuationReport | None = None
    hosts: tuple[tuple[str, tuple[str, ...]], ...] = ()
    may_settle: bool = False
    digest: str = ""
    by: str = ""
    today: date | None = None
    hidden: tuple[tuple[str, str], ...] = ()


def _view(ask: Ask) -> Shown:
    asked = Asked.of(ask.query)
    note = "Settled in placement.yaml; it is kept while it is valid." if ask.query.get("settled") else ""
    plan = ask.place.placing.look(anew=asked.anew)
    if isinstance(plan, Searching):
        return Shown(data=PlanData(asked=asked, searching=plan, page=asked.address()))
    with ask.place.placing.judging:
        return Shown(data=_data(ask, asked, plan), note=note)


def _data(ask: Ask, asked: Asked, plan: Plan) -> PlanData:
    placed = plan.ground.placed
    move = _move(ask, asked, plan) if asked.member and asked.host else None
    shown, offered = plan, placed
    if move is not None and (seats := _seats_of(move)):
        shown = plan.with_seats(seats)
        offered = plan.chosen(seats, member=asked.member)
    judgement = fail_on(shown.ground, asked.fail).judgement if asked.fail else None
    evacuation = empty_on(shown.ground, (asked.empty,)) if asked.empty else None
    words = "; ".join(f"{seat.member} on {seat.host}" for seat in shown.ground.seats) or "no member is placed"
    drawing, is_large = shown.drawn(
        judgement=judgement,
        opened=asked.open,
        says=words if judgement is None else f"{words}. {sentence_of(judgement, ours=True)}",
        links=PlanLinks(
            fail=asked.failing(),
            open=asked.opening(),
            take=lambda member: replace(asked, member=member, host="", along=False).address("move"),
        ),
    )
    settled = isinstance(offered.outcome, Kept)
    return PlanData(
        asked=asked,
        page=asked.address(),
        outcome=_outcome(offered),
        verdict=_verdict(offered),
        sentence=_sentence(shown),
        basis=shown.ground.basis,
        survey=placed.survey.sentence(),
        findings=placed.findings,
        conflict=_conflict(placed),
        mends=_mends(placed),
        drawing=drawing,
        drawing_words=words,
        is_large=is_large,
        members=tuple(_members(shown, offered, judgement)),
        legend=tuple(_legend(asked, shown, judgement)),
        failure=None if judgement is None else _failure(shown, judgement),
        stand_again=replace(asked, fail=()).address(),
        move=move,
        evacuation=evacuation,
        hosts=_hosts(plan),
        may_settle=found_placement(offered.outcome) is not None and not settled,
        digest=seats_digest(shown.ground.seats),
        by=placed.job.design.job.engineer or ask.place.actor,
        today=ask.now.date(),
        hidden=tuple(asked.fields().items()),
    )


def _sentence(plan: Plan) -> str:
    basis = plan.ground.basis
    if basis.placement == "none":
        return f"{basis.cluster}: no placement."
    hosts = ", ".join(seat.host for seat in plan.ground.seats)
    count = f"{basis.members} {'member' if basis.members == 1 else 'members'}"
    return f"{basis.cluster}: {count} on {hosts}; {basis.placement}."


_OUTCOMES: Final[Mapping[type, str]] = {
    Kept: "kept",
    Chosen: "chosen",
    BestShown: "best shown",
    GoodWithBound: "good with a bound",
    NoneExists: "none exists",
    NotFoundInTime: "not found in the limit",
}


def _outcome(report: PlaceReport) -> str:
    return _OUTCOMES[type(report.outcome)]


def _verdict(report: PlaceReport) -> str:
    match report.outcome:
        case Kept():
            return "The settled placement is valid and is kept; nothing better was looked for."
        case Chosen(text=text):
            return f"A person's choice, not the search's: {text}."
        case BestShown():
            return "Best shown: no better placement exists under the rules of the design."
        case GoodWithBound(level=level, reached=reached, bound=bound, stopped=stopped):
            broken_off = "The search was broken off. " if stopped else ""
            return f"{broken_off}Good, not shown to be the best: {level} is {reached:g}, and nothing can be below {bound:g}."
        case NoneExists(irreducible=irreducible):
            how = "each of them is needed for it" if irreducible else "not every one may be needed for it"
            return f"None exists: no placement meets the rules of the design on this estate. Rules in conflict ({how}):"
        case NotFoundInTime(limit=limit):
            return f"Not found within {limit}; whether one exists is not known."
        case _:
            return ""


def _conflict(report: PlaceReport) -> tuple[tuple[str, str], ...]:
    if not isinstance(report.outcome, NoneExists):
        return ()
    return tuple((rule.text, rule.where or rule.name) for rule in report.outcome.conflict)


def _mends(report: PlaceReport) -> tuple[tuple[str, str], ...]:
    if not isinstance(report.outcome, NoneExists):
        return ()
    return tuple((mend.kind, mend.text) for mend in report.outcome.mends)


def _members(plan: Plan, offered: PlaceReport, judgement: Judgement | None) -> Iterator[MemberRow]:
    placement = found_placement(offered.outcome)
    reasons = dict(placement.reasons) if placement is not None else {}
    if not reasons and offered.job.settled is not None:
        reasons = dict(offered.job.settled.reasons)
    needs = {need.name: need for need in offered.problem.members}
    to = dict(judgement.seats) if judgement is not None else {}
    for seat in plan.ground.seats:
        need = needs[seat.member]
        state = ""
        if judgement is not None and seat.member in judgement.members_lost:
            state = "lost: its disk is in a failed pool"
        elif judgement is not None and seat.member in judgement.members_displaced:
            state = f"restarts on {to[seat.member]}" if seat.member in to else "finds no room to restart"
        yield MemberRow(
            member=seat.member,
            role={"first": "leader", "second": "deputy"}.get(need.leads, "" if need.data else "no data"),
            host=seat.host,
            inside=", ".join(name for kind, name in plan.above[seat.host] if kind != "host"),
            disks=", ".join(f"{disk} in {pool}" for disk, pool in seat.disks),
            state=state,
            why=reasons.get(seat.member, ""),
        )


def _legend(
    asked: Asked, plan: Plan, judgement: Judgement | None
) -> Iterator[tuple[str, tuple[PartRow, ...]]]:
    kinds, address = dict.fromkeys(part.kind for part in plan.parts), asked.failing()
    for kind in sorted(kinds, key=lambda kind: kind in _DRAWN):
        parts = [part for part in plan.parts if part.kind == kind]
        if kind in _DRAWN and len(parts) > _MOST_DRAWN_ROWS:
            continue  # each of them is a link of the drawing already
        rows = tuple(_part(asked, plan, part, judgement, address(part.name)) for part in parts)
        yield kind, rows


def _part(asked: Asked, plan: Plan, part: Part, judgement: Judgement | None, address: str) -> PartRow:
    pool = part.pool
    capacity = pool.capacity_bytes if pool is not None else 0
    ours = [seat.member for seat in plan.ground.seats if seat.host in part.hosts]
    ours += [
        f"{disk} of {seat.member}"
        for seat in plan.ground.seats
        for disk, name in seat.disks
        if name == part.name or name in part.pools
    ]
    count = len(part.hosts)
    hosts = f"{count} {'host' if count == 1 else 'hosts'}" if count else ""
    pools = ", ".join(part.pools[:3]) + (" …" if len(part.pools) > 3 else "")
    return PartRow(
        name=part.name,
        inside=", ".join(part.within[: len(part.within) if pool is not None else 1]),
        holds="; ".join(filter(None, (hosts, pools, ", ".join(dict.fromkeys(ours))))),
        taken_percent=None if pool is None or not capacity else round(100 * pool.used_bytes / capacity),
        ours_percent=0 if pool is None or not capacity else -(-100 * pool.ours_bytes // capacity),
        failed=part.name in asked.fail,
        along=part.name not in asked.fail and judgement is not None and _goes(part, judgement),
        address=address,
    )


def _goes(part: Part, judgement: Judgement) -> bool:
    """Whether it fails with what was failed: a pool in it or cut off by it, a domain inside it."""
    if part.kind == "pool":
        return part.name in judgement.scenario.pools
    return bool({name for _, name in judgement.scenario.domains}.intersection(part.within))


def _failure(plan: Plan, judgement: Judgement) -> FailureShown:
    ours = {seat.member for seat in plan.ground.seats}
    rows = [
        RestartRow(
            machine=machine,
            from_host=plan.host_of[machine],
            to_host=host,
            memory_bytes=plan.memory_bytes[machine],
            ours=machine in ours,
        )
        for machine, host in judgement.seats
    ]
    # What is ours is never among those that are only counted.
    told = [row for row in rows if row.ours] + [row for row in rows if not row.ours][:_MOST_RESTARTS]
    return FailureShown(
        judgement=judgement,
        sentence=sentence_of(judgement, ours=bool(ours)),
        back=lasting(judgement.back),
        restarts=tuple(sorted(told, key=rows.index)),
        more_restarts=len(rows) - len(told),
        stay_down=judgement.not_restarted,
    )


def _move(ask: Ask, asked: Asked, plan: Plan) -> MoveShown:
    report = plan.move(member=asked.member, host=asked.host)
    along: Why | Searching | None = None
    if asked.along:
        along = ask.place.placing.ask(
            ("along", plan, asked.member, asked.host),
            lambda _: plan.why(member=asked.member, host=asked.host),
        )
    search = along if isinstance(along, Searching) else None
    found = None if isinstance(along, Searching) else along
    before = {seat.member: seat.host for seat in plan.ground.seats}
    seats = found.seats if isinstance(found, Costs) else ()
    return MoveShown(
        report=report,
        along=found,
        along_kind="" if found is None else type(found).__name__,
        along_search=search,
        along_moves=tuple(
            (seat.member, before[seat.member], seat.host)
            for seat in seats
            if before[seat.member] != seat.host
        ),
        along_address=replace(asked, along=True).address("move"),
        allowed=bool(seats) or (not report.stays and not report.breaks),
    )


def _seats_of(move: MoveShown) -> tuple[Seat, ...]:
    """Where everybody would stand then; () where the move is not possible, or is none."""
    if isinstance(move.along, Costs):
        return move.along.seats
    return () if move.report.stays or move.report.breaks else move.report.seats


def _hosts(plan: Plan) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Hosts by rack, to choose from; () where there are so many that their names are typed."""
    racks = [
        (rack.name, tuple(host.name for host in rack.hosts))
        for site in plan.elevation.sites
        for rack in site.racks
    ]
    return tuple(racks) if sum(len(hosts) for _, hosts in racks) <= _MOST_LISTED_HOSTS else ()


def _settle(ask: Ask) -> Moved:
    asked = Asked.of(ask.form)
    typed = Typed(ask.form)
    by = typed.text("by", label="the name of who settles")
    digest = typed.text("digest", label="what was shown")
    typed.settle()
    plan = ask.place.placing.look(anew=asked.anew)
    if isinstance(plan, Searching):
        raise NotAllowed.one("the placement is still looked for", mend="settle it when it is there")
    with ask.place.placing.judging:
        move = _move(ask, asked, plan) if asked.member and asked.host else None
        seats = plan.ground.seats if move is None else _seats_of(move)
        report = plan.ground.placed if move is None else plan.chosen(seats, member=asked.member)
    if seats_digest(seats) != digest:
        raise NotAllowed.one(
            "the placement is not the one that was shown",
            why="the design, the estate or what other jobs were promised has changed meanwhile",
            mend="look at the plan again",
        )
    refuse_old_survey(report.job, ask.now)
    with ask.place.writing:
        settle(report, by=by, on=ask.now.date())
    return Moved(to="/plan?settled=yes")


def _stop(ask: Ask) -> Moved:
    ask.place.placing.stop()
    return Moved(to=Asked.of(ask.form).address())


SHEET: Final = Sheet(
    name="plan",
    title="Plan",
    purpose="Where the members stand. Click what shall fail, move a member, empty a host: on paper.",
    order=50,
    view=_view,
    acts={"settle": _settle, "stop": _stop},
    is_live=True,
)
