"""decide(): facts in, commands out. No clock, no I/O, no waiting; the instant comes in as an argument.

Forwards, a step goes: intent recorded, look, (effect, look again until seen or too late), result recorded. A repeat
is the same road: the first look finds what an earlier try left. Backwards, the same road leads to "seen gone",
and a step is only taken back once every step that was built on it is.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from staddle.kernel import Fault, OurFault
from staddle.plan.kind import BackOut, Facts, get_kind
from staddle.plan.looks import Card, Look, NeedsPerson, NotYet, Seen, Signature, Wrong
from staddle.plan.orders import Step
from staddle.rollout.facts import (
    Act,
    Acted,
    ActFailed,
    Answered,
    Ask,
    Began,
    Command,
    Fact,
    LookAt,
    Looked,
    LookFailed,
    Record,
    Stop,
)
from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State

__all__ = ["MOST_TRIES", "Direction", "Engine", "Live", "Phase", "decide"]

MOST_TRIES: Final = 5
"""Tries of one effect whose outcome stays unknown, in one run; after that a person has to look."""

_FIRST_PAUSE_S: Final = 0.1
_LONGEST_PAUSE_S: Final = 5.0


class Direction(StrEnum):
    """Whether the run builds up or takes back."""

    FORWARD = "forward"
    BACK_OUT = "back-out"


class Phase(StrEnum):
    """Where a step that is at work stands in this runner. Not journalled: a new runner starts with a look."""

    FIRST_LOOK = "first look"
    ACTING = "acting"
    LATER_LOOK = "later look"
    ASKING = "asking"


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """One step at work. ``good`` counts looks in a row that saw the goal, ``looks`` all since the last effect."""

    phase: Phase
    deadline: datetime
    good: int = 0
    looks: int = 0
    tries: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """Everything decide() knows. ``settled`` holds steps that this run will not start (again).

    ``deadline_factor`` stretches or shortens the deadline that each kind of step has. From ``until`` on nothing further
    is begun, and what has begun is finished.
    """

    run: Run
    direction: Direction
    epoch: int = 0
    deadline_factor: float = 1.0
    live: Mapping[str, Live] = field(default_factory=dict)
    settled: frozenset[str] = frozenset()
    until: datetime | None = None

    def is_closed(self, now: datetime) -> bool:
        """Whether the window is over. Back-out is never held up by it."""
        return self.direction is Direction.FORWARD and self.until is not None and now >= self.until


class _Desk:
    """Collects commands while the state moves on; lives for one call of decide()."""

    def __init__(self, engine: Engine, now: datetime) -> None:
        self.engine = engine
        self.now = now
        self.commands: list[Command] = []

    def record(
        self, step_id: str, event: Event, *, intent: str = "", evidence: Mapping[str, object] | None = None
    ) -> None:
        entry = Entry(
            step_id=step_id, event=event, at=self.now, actor="", intent=intent, evidence=evidence or {}
        )
        self.engine = replace(self.engine, run=self.engine.run.applied(entry, self.engine.epoch))
        self.commands.append(Record(step_id=step_id, event=event, intent=intent, evidence=evidence or {}))

    def set_live(self, step_id: str, live: Live | None) -> None:
        rest = {key: value for key, value in self.engine.live.items() if key != step_id}
        self.engine = replace(self.engine, live=rest if live is None else {**rest, step_id: live})

    def settle(self, step_id: str) -> None:
        self.engine = replace(self.engine, settled=self.engine.settled | {step_id})


def decide(engine: Engine, fact: Fact, now: datetime) -> tuple[Engine, tuple[Command, ...]]:
    """The engine after a fact, and what is to be done, in this order.

    Raises: OurFault: the fact does not fit what the engine knows; the engine handed in is unchanged.
    """
    desk = _Desk(engine, now)
    if isinstance(fact, Began):
        _begin(desk, fact.epoch)
    else:
        live = engine.live.get(fact.step_id)
        if live is None:
            raise OurFault.one(
                f'a fact speaks of step "{fact.step_id}", which is not at work', why=repr(fact)
            )
        _go_on(desk, fact, live)
    closed = desk.engine.is_closed(now)
    if not closed:
        _start_what_can(desk)
    if not desk.engine.live:
        if closed and not desk.engine.run.sealed:
            desk.record(
                "", Event.NOTED, intent=f"the window closed at {desk.engine.until:%Y-%m-%d %H:%M} UTC"
            )
        desk.commands.append(Stop())
    return desk.engine, tuple(desk.commands)


def _begin(desk: _Desk, epoch: int) -> None:
    desk.engine = replace(desk.engine, epoch=epoch)
    for step in desk.engine.run.in_state(State.AT_WORK):
        # The runner that started it is gone: whether its effect happened is not known until somebody looks.
        desk.record(step.step_id, Event.LOST, evidence={"why": "the runner that was at work has ended"})


def _go_on(desk: _Desk, fact: Looked | LookFailed | Acted | ActFailed | Answered, live: Live) -> None:
    expected: dict[type, tuple[Phase, ...]] = {
        Looked: (Phase.FIRST_LOOK, Phase.LATER_LOOK),
        LookFailed: (Phase.FIRST_LOOK, Phase.LATER_LOOK),
        Acted: (Phase.ACTING,),
        ActFailed: (Phase.ACTING,),
        Answered: (Phase.ASKING,),
    }
    if live.phase not in expected[type(fact)]:
        raise OurFault.one(
            f'step "{fact.step_id}" is in phase "{live.phase}", where this fact cannot be', why=repr(fact)
        )
    match fact:
        case Looked(look=look):
            _looked(desk, fact.step_id, live, look)
        case LookFailed(fault=fault):
            _look_again(desk, fact.step_id, live, fault)
        case Acted():
            limit = _limit(desk, fact.step_id)
            desk.set_live(fact.step_id, replace(live, phase=Phase.LATER_LOOK, deadline=limit, looks=0))
            desk.commands.append(LookAt(step_id=fact.step_id, at=desk.now))
        case ActFailed(unknown=True) if live.tries < MOST_TRIES:
            _try_again(desk, fact.step_id, live, fact.fault)
        case ActFailed(unknown=True):
            _lose(desk, fact.step_id, fact.fault)
        case ActFailed():
            _refuse(desk, fact.step_id, fact.fault)
        case Answered(signature=None):
            desk.set_live(fact.step_id, None)
            desk.settle(fact.step_id)
        case Answered(signature=Signature() as signature):
            desk.record(fact.step_id, Event.ANSWERED, evidence={"by": signature.by, "entry": signature.entry})
            limit = _limit(desk, fact.step_id)
            desk.set_live(fact.step_id, replace(live, phase=Phase.LATER_LOOK, deadline=limit, looks=0))
            desk.commands.append(LookAt(step_id=fact.step_id, at=desk.now))


def _looked(desk: _Desk, step_id: str, live: Live, look: Look) -> None:
    facts = _facts(desk, step_id)
    backwards = desk.engine.direction is Direction.BACK_OUT
    match look:
        case Seen(evidence=evidence):
            if live.good + 1 < facts.settle and not backwards:
                desk.set_live(step_id, replace(live, good=live.good + 1, looks=0))
                desk.commands.append(LookAt(step_id=step_id, at=desk.now + timedelta(seconds=_FIRST_PAUSE_S)))
                return
            desk.set_live(step_id, None)
            desk.settle(step_id)
            desk.record(step_id, Event.BACKED_OUT if backwards else Event.SEEN, evidence=evidence)
        case Wrong(fault=fault):
            _refuse(desk, step_id, fault)
        case NeedsPerson() | NotYet() if not _has_begun(live) and desk.engine.is_closed(desk.now):
            _refuse(desk, step_id, _closed(step_id))
        case NeedsPerson(card=card):
            _ask(desk, step_id, live, card)
        case NotYet() if live.phase is Phase.FIRST_LOOK and (facts.acts or facts.restarts or backwards):
            desk.set_live(step_id, replace(live, phase=Phase.ACTING, good=0))
            desk.commands.append(Act(step_id=step_id))
        case NotYet(why=why, hopeless=hopeless):
            fault = Fault(
                what=f'"{facts.title}" was not seen done' + ("" if hopeless else " in time"),
                where=step_id,
                why=f"the last look said: {why}",
                mend="find out why with the probe named on the run card, mend it, and run the same command again",
            )
            if hopeless:
                _refuse(desk, step_id, fault)
            else:
                _look_again(desk, step_id, live, fault)


def _has_begun(live: Live) -> bool:
    # A further try looks first too, but an earlier one of this run may have had its effect.
    return live.phase is not Phase.FIRST_LOOK or live.tries > 1


def _closed(step_id: str) -> Fault:
    return Fault(
        what="the window closed before the effect was begun",
        where=step_id,
        why="nothing further is begun outside a window",
        mend="run the same command in the next window",
    )


def _ask(desk: _Desk, step_id: str, live: Live, card: Card) -> None:
    desk.set_live(step_id, replace(live, phase=Phase.ASKING))
    if desk.engine.direction is Direction.FORWARD:
        desk.record(step_id, Event.ASKED, intent=card.title)
    desk.commands.append(Ask(step_id=step_id, card=card))


def _look_again(desk: _Desk, step_id: str, live: Live, fault: Fault) -> None:
    if desk.now >= live.deadline:
        _refuse(desk, step_id, fault)
        return
    pause_s = min(_FIRST_PAUSE_S * 1.5**live.looks, _LONGEST_PAUSE_S)
    desk.set_live(step_id, replace(live, good=0, looks=live.looks + 1))
    desk.commands.append(LookAt(step_id=step_id, at=desk.now + timedelta(seconds=pause_s)))


def _try_again(desk: _Desk, step_id: str, live: Live, fault: Fault) -> None:
    if desk.engine.direction is Direction.FORWARD:
        desk.record(step_id, Event.LOST, evidence={"why": fault.what})
        desk.record(step_id, Event.STARTED, intent="look before anything is repeated")
    limit = _limit(desk, step_id)
    desk.set_live(step_id, Live(phase=Phase.FIRST_LOOK, deadline=limit, tries=live.tries + 1))
    desk.commands.append(
        LookAt(step_id=step_id, at=desk.now + timedelta(seconds=_FIRST_PAUSE_S * 2**live.tries))
    )


def _lose(desk: _Desk, step_id: str, fault: Fault) -> None:
    desk.set_live(step_id, None)
    desk.settle(step_id)
    if desk.engine.direction is Direction.FORWARD:
        desk.record(step_id, Event.LOST, evidence=_told(fault))
    else:
        desk.record(step_id, Event.UNDO_STARTED, evidence=_told(fault))


def _refuse(desk: _Desk, step_id: str, fault: Fault) -> None:
    if desk.engine.direction is Direction.BACK_OUT:
        _lose(desk, step_id, fault)  # what is left of it is not known, and stays so until somebody looks
        return
    desk.set_live(step_id, None)
    desk.settle(step_id)
    desk.record(step_id, Event.REFUSED, evidence=_told(fault))


def _told(fault: Fault) -> Mapping[str, object]:
    parts = {"what": fault.what, "where": fault.where, "why": fault.why, "mend": fault.mend}
    return {key: text for key, text in parts.items() if text}


def _facts(desk: _Desk, step_id: str) -> Facts:
    return get_kind(desk.engine.run.plan.get_step(step_id).kind).facts


def _limit(desk: _Desk, step_id: str) -> datetime:
    return desk.now + timedelta(seconds=_facts(desk, step_id).deadline_s * desk.engine.deadline_factor)


def _start_what_can(desk: _Desk) -> None:
    if desk.engine.direction is Direction.BACK_OUT:
        _take_back_what_can(desk)
        return
    limits = dict(desk.engine.run.plan.limits)
    in_use: dict[str, int] = {}
    for step_id in desk.engine.live:
        for resource in desk.engine.run.plan.get_step(step_id).resources:
            in_use[resource] = in_use.get(resource, 0) + 1
    startable = (State.TO_DO, State.REFUSED, State.NOT_KNOWN, State.AWAITS_PERSON)
    for step in desk.engine.run.in_state(*startable):
        if step.step_id in desk.engine.live or step.step_id in desk.engine.settled:
            continue
        if any(desk.engine.run.state(need) is not State.SEEN_DONE for need in step.needs):
            continue
        if any(in_use.get(resource, 0) >= limits.get(resource, 1) for resource in step.resources):
            continue
        for resource in step.resources:
            in_use[resource] = in_use.get(resource, 0) + 1
        facts = get_kind(step.kind).facts
        phase = Phase.FIRST_LOOK if facts.acts or facts.restarts else Phase.LATER_LOOK
        desk.record(step.step_id, Event.STARTED, intent=facts.goal)
        desk.set_live(step.step_id, Live(phase=phase, deadline=_limit(desk, step.step_id)))
        desk.commands.append(LookAt(step_id=step.step_id, at=desk.now))


def _take_back_what_can(desk: _Desk) -> None:
    run = desk.engine.run
    touched = (State.SEEN_DONE, State.REFUSED, State.NOT_KNOWN, State.AWAITS_PERSON)
    undoable = [step for step in run.plan.steps if get_kind(step.kind).facts.back_out is BackOut.UNDO]
    for step in undoable:
        if (
            run.state(step.step_id) not in touched
            or step.step_id in desk.engine.live
            or step.step_id in desk.engine.settled
        ):
            continue
        above = _built_on(run, step, undoable)
        if any(run.state(other) not in (State.TO_DO, State.BACKED_OUT) for other in above):
            continue
        desk.record(step.step_id, Event.UNDO_STARTED, intent=get_kind(step.kind).facts.back_out_note)
        limit = _limit(desk, step.step_id)
        desk.set_live(step.step_id, Live(phase=Phase.FIRST_LOOK, deadline=limit))
        desk.commands.append(LookAt(step_id=step.step_id, at=desk.now))
    run = desk.engine.run
    if not desk.engine.live and all(
        run.state(s.step_id) in (State.TO_DO, State.BACKED_OUT) for s in undoable
    ):
        for step in run.in_state(*touched):
            desk.record(step.step_id, Event.UNDO_STARTED)
            note = str(get_kind(step.kind).facts.back_out)
            desk.record(step.step_id, Event.WENT_ALONG, evidence={"how": note})


def _built_on(run: Run, base: Step, among: list[Step]) -> tuple[str, ...]:
    """Ids of the steps in ``among`` that need ``base``, directly or through others."""
    above: set[str] = {base.step_id}
    for step in run.plan.steps:  # the plan lists a step after everything that it needs
        if above.intersection(step.needs):
            above.add(step.step_id)
    return tuple(step.step_id for step in among if step.step_id in above and step.step_id != base.step_id)
