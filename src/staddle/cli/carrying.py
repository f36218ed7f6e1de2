"""What rehearse and rollout have in common on the screen: say what will happen, carry it out, say where it stands."""

import asyncio
import getpass
import textwrap

from staddle.cli.cards import TerminalCards
from staddle.cli.options import Options
from staddle.cli.progress import RunLines
from staddle.cli.screen import WIDTH, Screen
from staddle.estate.survey import SurveyStanding
from staddle.jobs.back_out import irreversible_steps
from staddle.jobs.folder import JobFolder
from staddle.jobs.gate import closed_told, gate_of, gate_told
from staddle.jobs.rollout import (
    READ_ANEW,
    Standing,
    calls_of,
    carry_on,
    drifted_inputs,
    open_rollout,
    standing_of,
)
from staddle.jobs.rollouts import ROLLOUT, OpenRollout
from staddle.kernel import SystemClock, SystemRandom
from staddle.plan.titles import step_title
from staddle.rollout.gate import Plea

__all__ = ["carry_out"]


def carry_out(
    folder: JobFolder,
    purpose: str,
    screen: Screen,
    options: Options,
    *,
    dry_run: bool,
    plea: Plea | None = None,
) -> int:
    """Begin the rollout of that purpose or go on with it. Returns: the exit code."""
    clock = SystemClock()
    actor = getpass.getuser()
    holder: list[RunLines] = []
    rollout = open_rollout(
        folder,
        purpose,
        clock=clock,
        random=SystemRandom(),
        actor=actor,
        progress=lambda step_id, done, total: holder[0].transferred(step_id, done, total),
        pin=not dry_run,
        plea=plea,
    )
    survey = rollout.job.survey(clock.now())
    # In full before real machines are touched for the first time.
    first = purpose == ROLLOUT and not dry_run and not rollout.run().leaves_something
    _say_first(screen, rollout, survey, first=first)
    if dry_run:
        verdict = None
        if purpose == ROLLOUT:
            verdict = gate_of(rollout.job, actor=actor, now=clock.now(), plea=plea)
            for line in gate_told(verdict):
                screen.say(line)
        for step_id, call in calls_of(rollout.head.plan):
            screen.show(step_id)
            for line in textwrap.wrap(call, WIDTH - 4, break_long_words=False, break_on_hyphens=False):
                screen.show(f"    {line}")
        screen.document(
            "listed",
            {
                "rollout": rollout.head.rollout_id,
                "calls": calls_of(rollout.head.plan),
                "survey": survey,
                "gate": verdict,
            },
        )
        return 0
    with RunLines(screen, rollout.head.plan, purpose) as lines:
        holder.append(lines)
        by = rollout.job.design.job.engineer or actor
        people = TerminalCards(screen, lines, clock, by=by, reveal=rollout.vault.get)
        run = asyncio.run(carry_on(rollout, people, lines))
    standing = standing_of(run)
    if not standing.sealed and (closed := closed_told(rollout.job, rollout.gate, clock.now())):
        screen.say(closed)
    _say_last(screen, rollout, standing)
    outcome = "sealed" if standing.sealed else "refused" if standing.refused else "not finished"
    screen.document(
        outcome,
        {"rollout": rollout.head.rollout_id, "standing": standing, "survey": survey, "gate": rollout.gate},
    )
    return 0 if standing.sealed else 1


def _say_first(screen: Screen, rollout: OpenRollout, survey: SurveyStanding, *, first: bool) -> None:
    plan = rollout.head.plan
    screen.say(
        f"{rollout.head.rollout_id} on platform {rollout.platform.name}: {len(plan.steps)} steps; times are UTC"
    )
    if drifted := drifted_inputs(rollout):
        kept = [name for name in drifted if name != READ_ANEW]
        if kept:
            screen.say(
                f"changed since it began, and not taken up: {', '.join(kept)}; it goes on with what was pinned"
            )
        if READ_ANEW in drifted:
            screen.say(f"changed since it began, and read anew: {READ_ANEW}; correcting it is a mend")
    if rollout.gate is not None:
        for line in gate_told(rollout.gate):
            screen.say(line)
    screen.say(f"estate {survey.sentence()}")
    if survey.is_past:
        screen.say(
            f"warning: {survey.complaint(rollout.job.reading.estate.name)}; a rollout would not be begun with it"
        )
    if fixed := irreversible_steps(plan):
        screen.say("cannot be backed out once done:")
        for title, note in fixed:
            screen.say(f"  {title}: {note}")
    else:
        screen.say("all of it can be cleared away at any time: staddle back-out --rehearsal")
    screen.advise(full=first)
    screen.say()


def _say_last(screen: Screen, rollout: OpenRollout, standing: Standing) -> None:
    plan = rollout.head.plan
    screen.say()
    if standing.sealed:
        screen.show(
            f"{rollout.head.rollout_id} is sealed: {standing.done} of {standing.steps} steps seen done"
        )
        return
    screen.show(f"{rollout.head.rollout_id} stands at {standing.done} of {standing.steps} steps")
    for step_id, fault in standing.refused:
        screen.show(f"refused: {step_title(plan, plan.get_step(step_id))}")
        for line in fault.lines():
            screen.show(f"  {line}")
    for step_id in standing.awaits:
        screen.show(f"awaits a person: {step_title(plan, plan.get_step(step_id))}")
    for step_id in standing.not_known:
        screen.show(f"not known: {step_title(plan, plan.get_step(step_id))}")
    screen.show("the same command goes on from here")
