"""back-out: what would be taken back, what cannot be, and doing it."""

from dataclasses import dataclass

from staddle.jobs.folder import JobFolder
from staddle.jobs.journal import export_journal, report_of
from staddle.jobs.rollouts import REHEARSAL, OpenRollout, open_newest
from staddle.kernel import Clock
from staddle.plan.kind import BackOut, get_kind
from staddle.plan.orders import Plan, Step
from staddle.plan.titles import step_title
from staddle.rollout.decide import Direction
from staddle.rollout.run import Run
from staddle.rollout.runner import People, Watcher
from staddle.rollout.states import State

__all__ = ["BackOutList", "back_out", "back_out_list", "irreversible_steps"]


@dataclass(kw_only=True)
class BackOutList:
    """One rollout with what a back-out would do, as (step in words, note)."""

    rollout: OpenRollout
    takes_back: tuple[tuple[str, str], ...]
    cannot: tuple[tuple[str, str], ...]


def irreversible_steps(plan: Plan) -> tuple[tuple[str, str], ...]:
    """The steps of a plan that cannot be backed out once done, as (step in words, note); told before a rollout.

    Returns: () for a rehearsal: its machines are stand-ins, and all of it can be cleared away at any time.
    """
    return () if plan.purpose == REHEARSAL else _with(plan, plan.steps, BackOut.NONE)


def back_out_list(folder: JobFolder, clock: Clock, *, rehearsal: bool, actor: str) -> BackOutList:
    """What a back-out of the newest rollout (or rehearsal) would do. Changes nothing.

    Raises: NotAllowed: there is none, or it is sealed and no rehearsal.
    """
    rollout = open_newest(folder, clock, rehearsal=rehearsal, actor=actor)
    rollout.refuse_sealed()
    run = rollout.run()
    touched = run.in_state(*(state for state in State if state not in (State.TO_DO, State.BACKED_OUT)))
    return BackOutList(
        rollout=rollout,
        takes_back=_with(rollout.head.plan, touched, BackOut.UNDO),
        cannot=() if rehearsal else _with(rollout.head.plan, touched, BackOut.NONE),
    )


def _with(plan: Plan, steps: tuple[Step, ...], how: BackOut) -> tuple[tuple[str, str], ...]:
    return tuple(
        (step_title(plan, step), get_kind(step.kind).facts.back_out_note)
        for step in steps
        if get_kind(step.kind).facts.back_out is how
    )


async def back_out(rollout: OpenRollout, people: People, watcher: Watcher) -> Run:
    """Take the rollout back, and export its journal.

    Raises: NotAllowed: somebody else is at work on it.
    """
    run = await rollout.carry_on(people, watcher, Direction.BACK_OUT)
    export_journal(rollout.job.folder, report_of(rollout.store, rollout.head))
    return run
