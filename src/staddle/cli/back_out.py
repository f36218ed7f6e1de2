"""The command back-out: take back exactly what a rollout made."""

import asyncio
import getpass
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.cards import TerminalCards
from staddle.cli.options import Options
from staddle.cli.progress import RunLines
from staddle.cli.screen import Screen, confirm
from staddle.jobs.back_out import BackOutList, back_out_list
from staddle.jobs.back_out import back_out as take_back
from staddle.kernel import SystemClock
from staddle.plan.titles import step_title
from staddle.rollout.states import State

__all__ = ["back_out"]


def back_out(
    *,
    rehearsal: Annotated[bool, Parameter(negative=())] = False,
    destroy: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Take back exactly what a rollout made.

    Of the newest rollout, and only what carries our tag and stands in the journal. Says first what would be taken back and what cannot be.

    Example: staddle back-out --rehearsal

    Parameters
    ----------
    rehearsal
        The newest rehearsal instead of the newest rollout.
    destroy
        Do it without asking; --yes alone never covers destruction.
    """
    screen = Screen("back-out", as_json=options.json)
    clock = SystemClock()
    found = back_out_list(options.folder(), clock, rehearsal=rehearsal, actor=getpass.getuser())
    _tell(screen, found)
    screen.advise()
    if not found.takes_back:
        screen.show("nothing was made, so there is nothing to take back")
        screen.document("nothing", {"rollout": found.rollout.head.rollout_id})
        return 0
    if not destroy and not confirm("Machines and disks listed above are destroyed. Go on?", yes=False):
        screen.show("nothing was changed")
        screen.say("--destroy goes on without asking")
        screen.document("not confirmed", {"rollout": found.rollout.head.rollout_id})
        return 1
    with RunLines(screen, found.rollout.head.plan, "back-out") as lines:
        people = TerminalCards(
            screen,
            lines,
            clock,
            by=found.rollout.job.design.job.engineer or getpass.getuser(),
            reveal=found.rollout.vault.get,
        )
        run = asyncio.run(take_back(found.rollout, people, lines))
    left = run.in_state(State.NOT_KNOWN, State.SEEN_DONE, State.REFUSED, State.AWAITS_PERSON)
    screen.show(
        "nothing of this rollout is left" if not left else f"{len(left)} steps could not be taken back:"
    )
    for step in left:
        screen.show(f"  {step_title(run.plan, step)}: {run.state(step.step_id)}")
    rollout = {"rollout": found.rollout.head.rollout_id, "left": [step.step_id for step in left]}
    screen.document("left" if left else "backed out", rollout)
    return 1 if left else 0


def _tell(screen: Screen, found: BackOutList) -> None:
    screen.say(f"rollout {found.rollout.head.rollout_id}, tag {found.rollout.head.plan.tag}")
    for heading, steps in (
        ("will be taken back:", found.takes_back),
        ("cannot be backed out:", found.cannot),
    ):
        if steps:
            screen.say(heading)
            for title, note in steps:
                screen.say(f"  {title}: {note}")
