"""The sheet run: a rollout as a run card. Every step a numbered line; cards to do and to sign; begin, hold, go on.

What is at work is at work in this server (web/desk.py); what happened is the journal's.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from staddle.jobs.back_out import back_out_list, irreversible_steps
from staddle.jobs.gather import gather
from staddle.jobs.journal import JournalReport, all_journals
from staddle.jobs.rollout import calls_of, drifted_from, open_rollout
from staddle.jobs.rollouts import REHEARSAL, ROLLOUT
from staddle.kernel import Fault, InputRefused, NotAllowed
from staddle.plan.kind import get_kind
from staddle.plan.titles import step_title
from staddle.rollout.states import State
from staddle.web.desk import AtWork
from staddle.web.sheet import Ask, Moved, Sheet, Shown
from staddle.web.typed import Typed

__all__ = ["SHEET", "RunData"]

_PURPOSES: Final = (REHEARSAL, ROLLOUT)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepLine:
    """One line of the card. ``told`` is what was last said of it; ``fault`` why it was refused or is not known."""

    step_id: str
    title: str
    state: str
    since: datetime | None
    tries: int
    told: str
    fault: Fault | None


@dataclass(frozen=True, slots=True, kw_only=True)
class TransferLine:
    """One delivery under way. ``rate_bytes_s`` and ``left_s`` are None while nothing can be said."""

    title: str
    done_bytes: int
    total_bytes: int
    rate_bytes_s: int | None
    left_s: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CardShown:
    """An open card: what to do, the values to type, and what is typed back. Secrets only by label and name."""

    number: int
    step_id: str
    member: str
    title: str
    lines: tuple[str, ...]
    values: tuple[tuple[str, str], ...]
    secrets: tuple[tuple[str, str], ...]
    entry: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Listed:
    """What a new rollout would do: every call, and the steps that cannot be backed out."""

    calls: tuple[tuple[str, str], ...]
    cannot: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class BackOutListed:
    """What a back-out would take back, and what it cannot, each with its note."""

    rollout: str
    takes_back: tuple[tuple[str, str], ...]
    cannot: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunData:
    """One purpose's run card. ``rollout`` is "" where none was begun; ``is_open``: it can be gone on with.

    ``may_back_out``: something of it stands and back-out is not closed; ``back_closed`` is why it is.
    """

    purpose: str
    rollout: str
    platform: str
    sentence: str
    is_open: bool
    is_busy: bool
    is_holding: bool
    is_back_out: bool
    is_elsewhere: bool
    done: int
    lines: tuple[StepLine, ...]
    cards: tuple[CardShown, ...]
    transfers: tuple[TransferLine, ...]
    ended_by: tuple[Fault, ...]
    drifted: tuple[str, ...]
    listed: Listed | None
    may_back_out: bool
    back_closed: str
    back_out: BackOutListed | None
    by: str
    others: tuple[tuple[str, str], ...]


def _view(ask: Ask) -> Shown:
    desk = ask.place.desk.now()
    reports = {one.head.purpose: one for one in all_journals(ask.place.folder)}
    purpose = ask.query.get("of", "") or desk.purpose or (list(reports)[-1] if reports else REHEARSAL)
    _known(purpose)
    report = reports.get(purpose)
    job = gather(ask.place.folder, ask.now)
    is_mine = desk.purpose == purpose
    busy = is_mine and desk.is_busy
    is_open = report is not None and not (report.run.sealed or report.run.backed_out)
    noted = ask.place.noted(f"run {purpose}")
    return Shown(
        data=RunData(
            purpose=purpose,
            rollout="" if report is None else report.head.rollout_id,
            platform="" if report is None else report.head.platform,
            sentence=_sentence(report, desk, busy=busy, purpose=purpose),
            is_open=is_open,
            is_busy=busy,
            is_holding=busy and desk.is_holding,
            is_back_out=busy and desk.is_back_out,
            is_elsewhere=desk.is_busy and not is_mine,
            done=0 if report is None else len(report.run.in_state(State.SEEN_DONE)),
            lines=() if report is None else _lines(report),
            cards=_cards(desk) if busy else (),
            transfers=_transfers(desk, report) if busy and report is not None else (),
            ended_by=desk.faults if is_mine and not busy else (),
            drifted=drifted_from(report.head, job) if report is not None and is_open else (),
            listed=noted.what if noted is not None and isinstance(noted.what, Listed) else None,
            may_back_out=not desk.is_busy
            and report is not None
            and _stands(report)
            and not _is_closed(report),
            back_closed=_CLOSED if report is not None and _is_closed(report) else "",
            back_out=_listed_back(ask, purpose, report),
            by=job.design.job.engineer or ask.place.actor,
            others=tuple((one, f"/run?of={one}") for one in _PURPOSES if one != purpose),
        )
    )


_CLOSED: Final = (
    "Back-out is closed by the seal: the cluster is in service, and taking it back would stop it. To remove it is a change of "
    "its own."
)


def _is_closed(report: JournalReport) -> bool:
    return report.head.purpose == ROLLOUT and report.run.sealed


def _stands(report: JournalReport) -> bool:
    """Whether something was done that was not taken back."""
    return any(known.state not in (State.TO_DO, State.BACKED_OUT) for known in report.run.known.values())


def _listed_back(ask: Ask, purpose: str, report: JournalReport | None) -> BackOutListed | None:
    noted = ask.place.noted(f"back-out {purpose}")
    if noted is None or report is None or not isinstance(noted.what, BackOutListed):
        return None
    return noted.what if noted.what.rollout == report.head.rollout_id else None


def _known(purpose: str) -> None:
    if purpose not in _PURPOSES:
        raise InputRefused.one(
            f'there is no run card of "{purpose}"', where="address: of", mend="it is rehearsal or rollout"
        )


def _sentence(report: JournalReport | None, desk: AtWork, *, busy: bool, purpose: str) -> str:
    if report is None:
        return f"The {purpose} is being opened." if busy else f"No {purpose} was begun yet."
    run, name, count = report.run, report.head.rollout_id, len(report.head.plan.steps)
    done = len(run.in_state(State.SEEN_DONE))
    if busy:
        waiting = len(desk.cards)
        cards = (
            f"; {waiting} {'card waits' if waiting == 1 else 'cards wait'} for a person" if waiting else ""
        )
        word = (
            "is being held"
            if desk.is_holding
            else "is being taken back"
            if desk.is_back_out
            else "is at work"
        )
        return f"{name} {word}: {done} of {count} steps seen done{cards}."
    if run.backed_out:
        return f"{name} was backed out."
    if run.sealed:
        return f"{name} is sealed: {done} of {count} steps seen done."
    return f"{name} stands at {done} of {count} steps, and nobody is at work on it here."


def _lines(report: JournalReport) -> tuple[StepLine, ...]:
    plan, run = report.head.plan, report.run
    lines = []
    for step in plan.steps:
        known, facts = run.known[step.step_id], get_kind(step.kind).facts
        told = {key: str(text) for key, text in known.evidence.items()}
        is_bad = known.state in (State.REFUSED, State.NOT_KNOWN)
        lines.append(
            StepLine(
                step_id=step.step_id,
                title=step_title(plan, step),
                state=known.state.value,
                since=known.since,
                tries=known.tries,
                told=_told(known.state, told, facts.goal),
                fault=Fault(
                    what=told.get("what") or told.get("why") or "nobody knows what came of it",
                    where=told.get("where", ""),
                    why=told.get("why", "") if told.get("what") else "",
                    mend=told.get("mend", ""),
                )
                if is_bad
                else None,
            )
        )
    return tuple(lines)


def _told(state: State, told: Mapping[str, str], goal: str) -> str:
    if state is State.SEEN_DONE:
        # What was only signed is never called seen.
        signed = told.get("signed_by", "")
        note = f": {told['note']}" if told.get("note") else ""
        return f"signed by {signed}{note}" if signed and told.get("seen") == "False" else ""
    return goal if state in (State.TO_DO, State.AT_WORK) else ""


def _cards(desk: AtWork) -> tuple[CardShown, ...]:
    return tuple(
        CardShown(
            number=one.number,
            step_id=one.step.step_id,
            member=one.step.member or "cluster",
            title=one.card.title,
            lines=one.card.lines,
            values=one.card.values,
            secrets=one.card.secret_values,
            entry=one.card.entry,
        )
        for one in desk.cards
    )


def _transfers(desk: AtWork, report: JournalReport) -> tuple[TransferLine, ...]:
    plan = report.head.plan
    lines = []
    for one in desk.transfers:
        rate = one.rate_bytes_s
        left = (one.total_bytes - one.done_bytes) / rate if rate and one.total_bytes else None
        lines.append(
            TransferLine(
                title=step_title(plan, plan.get_step(one.step_id)),
                done_bytes=one.done_bytes,
                total_bytes=one.total_bytes,
                rate_bytes_s=None if rate is None else round(rate),
                left_s=None if left is None else round(left),
            )
        )
    return tuple(lines)


def _purpose(ask: Ask) -> str:
    purpose = ask.form.get("of", "")
    _known(purpose)
    return purpose


def _list(ask: Ask) -> Moved:
    purpose = _purpose(ask)
    rollout = open_rollout(
        ask.place.folder,
        purpose,
        clock=ask.place.clock,
        random=ask.place.random,
        actor=ask.place.actor,
        pin=False,
    )
    try:
        plan = rollout.head.plan
        ask.place.note(f"run {purpose}", Listed(calls=calls_of(plan), cannot=irreversible_steps(plan)))
    finally:
        rollout.store.close()
    return Moved(to=f"/run?of={purpose}#listed")


def _begin(ask: Ask) -> Moved:
    purpose = _purpose(ask)
    typed = Typed(ask.form)
    typed.ticked("agreed", what="what cannot be backed out")
    typed.settle()
    ask.place.desk.go_on(purpose)
    return Moved(to=f"/run?of={purpose}")


def _go_on(ask: Ask) -> Moved:
    purpose = _purpose(ask)
    newest = {one.head.purpose: one for one in all_journals(ask.place.folder)}.get(purpose)
    if newest is None or newest.run.sealed or newest.run.backed_out:
        raise NotAllowed.one(
            f"there is no {purpose} to go on with",
            where="the journal",
            why="none was begun, or the last one is sealed or backed out",
            mend="list what would be done, and begin one",
        )
    ask.place.desk.go_on(purpose)
    return Moved(to=f"/run?of={purpose}")


def _list_back(ask: Ask) -> Moved:
    purpose = _purpose(ask)
    found = back_out_list(
        ask.place.folder, ask.place.clock, rehearsal=purpose == REHEARSAL, actor=ask.place.actor
    )
    try:
        told = BackOutListed(
            rollout=found.rollout.head.rollout_id, takes_back=found.takes_back, cannot=found.cannot
        )
    finally:
        found.rollout.store.close()
    ask.place.note(f"back-out {purpose}", told)
    return Moved(to=f"/run?of={purpose}#back-listed")


def _back_out(ask: Ask) -> Moved:
    """Nothing is destroyed by one click: what goes was listed, is agreed to, and is named by hand."""
    purpose = _purpose(ask)
    typed = Typed(ask.form)
    typed.ticked("agreed", what="that machines and disks are destroyed")
    name = typed.text("rollout", label=f"the name of the {purpose}")
    typed.settle()
    noted = ask.place.noted(f"back-out {purpose}")
    listed = noted.what if noted is not None and isinstance(noted.what, BackOutListed) else None
    if listed is None or name != listed.rollout:
        raise NotAllowed.one(
            f'"{name}" is not what was listed',
            why="only what was listed just now is taken back"
            if listed is None
            else f"listed was {listed.rollout}",
            mend="list what would be taken back, then type its name",
        )
    newest = {one.head.purpose: one for one in all_journals(ask.place.folder)}.get(purpose)
    if newest is None or newest.head.rollout_id != name or _is_closed(newest):
        raise NotAllowed.one(
            f"{name} cannot be taken back now", why=_CLOSED if newest is not None else "", mend="look again"
        )
    ask.place.desk.go_on(purpose, back=True)
    return Moved(to=f"/run?of={purpose}")


def _hold(ask: Ask) -> Moved:
    ask.place.desk.hold()
    return Moved(to=f"/run?of={_purpose(ask)}")


def _sign(ask: Ask) -> Moved:
    step_id, purpose = ask.form.get("step", ""), _purpose(ask)
    entry_name = next(
        (one.card.entry for one in ask.place.desk.now().cards if one.step.step_id == step_id), ""
    )
    typed = Typed(ask.form)
    by = typed.text("by", label="the name of who signs")
    entry = typed.text("entry", label=entry_name or "the note", needed=bool(entry_name))
    typed.settle()
    ask.place.desk.sign(step_id, by=by, entry=entry)
    return Moved(to=f"/run?of={purpose}")


def _leave(ask: Ask) -> Moved:
    ask.place.desk.leave(ask.form.get("step", ""))
    return Moved(to=f"/run?of={_purpose(ask)}")


def _reveal(ask: Ask) -> Shown:
    step_id, name = ask.form.get("step", ""), ask.form.get("name", "")
    secret = ask.place.desk.reveal(step_id, name)
    shown = _view(Ask(place=ask.place, now=ask.now, query={"of": _purpose(ask)}))
    return Shown(data=shown.data, secrets={f"{step_id} {name}": secret})


SHEET: Final = Sheet(
    name="run",
    title="Run card",
    purpose="Every step of a rehearsal or a rollout: what is done, what waits for a person, what comes next.",
    order=90,
    view=_view,
    acts={
        "list": _list,
        "begin": _begin,
        "go-on": _go_on,
        "hold": _hold,
        "list-back-out": _list_back,
        "back-out": _back_out,
        "sign": _sign,
        "leave": _leave,
        "reveal": _reveal,
    },
    is_live=True,
)
