"""The sheet survival: failures worst first, what the design asks, how much of a year it serves, what takes it down, what helps.

Judged by jobs/survive.py and jobs/availability.py; every row leads to the plan with that failure.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from staddle.dossier.availability_drawing import availability_sentence, availability_svg
from staddle.dossier.survive_drawing import failures_svg
from staddle.jobs.availability import AvailabilityReport, availability_on
from staddle.jobs.place import found_placement
from staddle.jobs.plan import Plan
from staddle.jobs.survive import Basis, ground_of, table_on
from staddle.kernel import InputRefused
from staddle.survival.failuretable import Asked as Sentence
from staddle.survival.failuretable import Doubles, FailureTable
from staddle.survival.judge import Judgement
from staddle.survival.rates import rate_text
from staddle.survival.wording import (
    ASSUMPTIONS,
    about_text,
    beside,
    brings_nothing,
    minutes_text,
    notes,
    origin_text,
    worth_telling,
)
from staddle.web.asked import Asked
from staddle.web.judged import lasting, states_of
from staddle.web.placing import Searching, Told
from staddle.web.sheet import Ask, Sheet, Shown

__all__ = ["SHEET", "SurvivalData"]

_WORST: Final = 24  # as many as the drawing holds
_MOST_OF_A_KIND: Final = 120
_PAIRS_AT_ONCE: Final = 400
"""Up to so many hosts every two of them are judged with the rest: it takes about a second (measured)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureRow:
    """One failure. ``states`` is what the cluster does, "" where none stands; ``address`` is the plan with it."""

    name: str
    address: str
    at_once: str
    states: str
    lost: str
    displaced: str
    back: str
    guests_lost: int
    guests_restarted: int
    restarts: str
    stay_down: int


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedRow:
    """One sentence of the design and whether it holds: "outlived", "not outlived" or "undecided"."""

    sentence: str
    holds: str
    judged: str
    fails: tuple[FailureRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SpanRow:
    """Minutes a year, from few to many, and of what; ``address`` is the plan with it where it is a part."""

    low: str
    high: str
    what: str
    address: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AvailabilityShown:
    """How much of a year, beside the same cluster otherwise; causes and improvements ranked."""

    drawing: str
    sentence: str
    beside: tuple[tuple[str, str, str], ...]
    causes: tuple[SpanRow, ...]
    improvements: tuple[SpanRow, ...]
    nothing: tuple[str, ...]
    rates: tuple[tuple[str, str, str], ...]
    rates_file: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalData:
    """The failures. ``searching`` is not None while they are judged; then nothing else is there."""

    searching: Searching | None = None
    page: str = "/survival"
    sentence: str = ""
    basis: Basis | None = None
    asked: tuple[AskedRow, ...] = ()
    kinds: tuple[tuple[str, int], ...] = ()
    kind: str = ""
    shown: tuple[FailureRow, ...] = ()
    count: int = 0
    drawing: str = ""
    doubles: Doubles | None = None
    pairs: tuple[FailureRow, ...] = ()
    pairs_address: str = ""
    availability: AvailabilityShown | None = None


def _view(ask: Ask) -> Shown:
    kind, pairs = ask.query.get("kind", ""), ask.query.get("pairs") == "yes"
    page = "/survival?pairs=yes" if pairs else "/survival"
    plan = ask.place.placing.look()
    if isinstance(plan, Searching):
        return Shown(data=SurvivalData(searching=plan, page=page))
    few = len(plan.ground.job.reading.estate.hosts) <= _PAIRS_AT_ONCE
    found = ask.place.placing.ask(
        ("survival", plan, pairs or few), lambda told: _judged(ask, plan, told, doubles=pairs or few)
    )
    if isinstance(found, Searching):
        return Shown(data=SurvivalData(searching=found, page=page))
    table, availability = found
    return Shown(data=_data(plan, table, availability, kind))


def _judged(
    ask: Ask, plan: Plan, told: Told, *, doubles: bool
) -> tuple[FailureTable, AvailabilityReport | None]:
    # On a ground of its own: pairs may take minutes, and the plan is asked meanwhile.
    table = table_on(ground_of(plan.ground.placed), doubles=doubles, progress=told)
    told("how much of a year it serves")
    if found_placement(plan.ground.placed.outcome) is None:
        return table, None
    return table, availability_on(ask.place.folder, plan.ground.placed)


def _data(
    plan: Plan, table: FailureTable, availability: AvailabilityReport | None, kind: str
) -> SurvivalData:
    counts: dict[str, int] = {}
    for one in table.singles:
        counts[_kind(one)] = counts.get(_kind(one), 0) + 1
    if kind and kind not in counts:
        raise InputRefused.one(
            f'nothing of the kind "{kind}" can fail here',
            where="address: kind",
            mend="they are " + ", ".join(counts),
        )
    basis = plan.ground.basis
    ours = bool(basis.members)
    chosen = [one for one in table.singles if kind in ("", _kind(one))]
    known = {f"{part.kind} {part.name}": part.name for part in plan.parts}
    known |= {f"host {host}": host for host in plan.above}
    return SurvivalData(
        sentence=_sentence(basis, table),
        basis=basis,
        asked=tuple(_asked(row, ours=ours) for row in table.asked),
        kinds=tuple(counts.items()),
        kind=kind,
        shown=tuple(_row(one, ours=ours) for one in chosen[: _MOST_OF_A_KIND if kind else _WORST]),
        count=len(chosen),
        drawing=failures_svg(
            table.singles,
            [seat.member for seat in plan.ground.seats],
            cluster=basis.cluster,
            note=f"surveyed {basis.surveyed}; placement {basis.placement}",
            with_hatchings=False,
        ),
        doubles=table.doubles,
        pairs=() if table.doubles is None else tuple(_row(one, ours=ours) for one in table.doubles.worst),
        pairs_address="" if table.doubles is not None or basis.hosts < 2 else "/survival?pairs=yes",
        availability=None if availability is None else _availability(availability, known),
    )


def _sentence(basis: Basis, table: FailureTable) -> str:
    if not basis.members:
        return "No member is placed: the estate is judged alone."
    down = sum(one.at_once == "down" for one in table.singles)
    degraded = sum(one.at_once == "degraded" for one in table.singles)
    return (
        f"Of {len(table.singles)} single failures {down or 'none'} {'takes' if down == 1 else 'take'} {basis.cluster} down, and "
        f"{degraded or 'none'} {'leaves' if degraded == 1 else 'leave'} it serving with something of it down."
    )


def _kind(one: Judgement) -> str:
    return one.scenario.domains[0][0]


def _row(one: Judgement, *, ours: bool) -> FailureRow:
    return FailureRow(
        name=one.scenario.name,
        address=Asked(fail=tuple(name for _, name in one.scenario.domains)).address(),
        at_once=str(one.at_once) if ours else "",
        states=states_of(one) if ours else "",
        lost=", ".join(one.members_lost),
        displaced=", ".join(one.members_displaced),
        back=lasting(one.back),
        guests_lost=one.guests_lost,
        guests_restarted=one.guests_restarted,
        restarts=one.restarts,
        stay_down=len(one.not_restarted),
    )


def _asked(row: Sentence, *, ours: bool) -> AskedRow:
    if row.failing:
        holds = "not outlived"
    elif not row.of or row.undecided or row.judged < row.of:
        holds = "undecided"
    else:
        holds = "outlived"
    if not row.of:
        judged = "the estate has no such domains, so nothing was judged"
    else:
        judged = f"{row.judged} judged" if row.judged == row.of else f"{row.judged} of {row.of} judged"
        judged += f", {row.failing} not outlived" if row.failing else ""
        judged += f", {row.undecided} undecided" if row.undecided else ""
    return AskedRow(
        sentence=row.sentence,
        holds=holds,
        judged=judged,
        fails=tuple(_row(one, ours=ours) for one in row.fails[:5]),
    )


def _availability(report: AvailabilityReport, known: Mapping[str, str]) -> AvailabilityShown:
    found = report.availability
    return AvailabilityShown(
        drawing=availability_svg(found, cluster=report.cluster, with_hatchings=False),
        sentence=availability_sentence(found),
        beside=beside(found),
        causes=tuple(_spans(((one.minutes_low, one.minutes_high, one.what) for one in found.causes), known)),
        improvements=tuple(
            _spans(((one.minutes_low, one.minutes_high, one.what) for one in worth_telling(found)), {})
        ),
        nothing=brings_nothing(found),
        rates=tuple((about_text(rate), rate_text(rate), origin_text(rate)) for rate in found.rates),
        rates_file=report.rates_file,
        notes=(*notes(found), *ASSUMPTIONS),
    )


def _spans(rows: Iterator[tuple[float, float, str]], known: Mapping[str, str]) -> Iterator[SpanRow]:
    for low, high, what in rows:
        part = known.get(what.partition(", under ")[0], "")  # a cause names the members under it
        yield SpanRow(
            low=minutes_text(low),
            high=minutes_text(high),
            what=what,
            address=Asked(fail=(part,)).address() if part else "",
        )


SHEET: Final = Sheet(
    name="survival",
    title="Survival",
    purpose="What each failure takes, worst first; how much of a year the cluster serves, and what would help most.",
    order=60,
    view=_view,
    is_live=True,
)
