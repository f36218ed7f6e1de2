"""back-out: what would be taken back, what cannot be, and doing it."""

from dataclasses import dataclass

from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import gather
from staddle.jobs.journal import export_journal, report_of
from staddle.jobs.rollouts import REHEARSAL, ROLLOUT, OpenRollout, last_rollout, open_journal
from staddle.kernel import Clock, NotAllowed, SystemRandom
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
    """The steps of a plan that cannot be backed out once done, as (step in words, note); told before a rollout."""
    return _with(plan, plan.steps, BackOut.NONE)


def back_out_list(folder: JobFolder, clock: Clock, *, rehearsal: bool, actor: str) -> BackOutList:
    """What a back-out of the newest rollout (or rehearsal) would do. Changes nothing.

    Raises: NotAllowed: there is none, or it is sealed and no rehearsal.
    """
    job = gather(folder, clock.now())
    store = open_journal(folder)
    head = last_rollout(store, job.design.job.name, REHEARSAL if rehearsal else ROLLOUT)
    if head is None:
        raise NotAllowed.one(
            f"there is no {'rehearsal' if rehearsal else 'rollout'} to back out",
            where=str(folder.journal),
            mend="staddle journal lists what there is; --rehearsal chooses rehearsals",
        )
    rollout = OpenRollout(
        job=job,
        head=head,
        store=store,
        clock=clock,
        random=SystemRandom(),
        actor=actor,
        progress=lambda *_: None,
    )
    rollout.refuse_sealed()
    run = rollout.run()
    touched = run.in_state(*(state for state in State if state not in (State.TO_DO, State.BACKED_OUT)))
    return BackOutList(
        rollout=rollout,
        takes_back=_with(head.plan, touched, BackOut.UNDO),
        cannot=_with(head.plan, touched, BackOut.NONE),
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
