"""The command rollout: carry the job out on the platform that the design names."""

import shlex
import sys
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.carrying import carry_out
from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.cli.typed import is_terminal, read_line
from staddle.jobs.rollouts import ROLLOUT
from staddle.kernel import InputRefused, NotAllowed
from staddle.rollout.gate import Plea

__all__ = ["rollout"]


def rollout(
    *,
    dry_run: Annotated[bool, Parameter(negative=())] = False,
    emergency: str | None = None,
    allowed_by: str | None = None,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Carry the job out on the platform of the design, or go on with it.

    After a stop, whatever its cause, the same command goes on from there. It is refused outside the design's windows, and without
    a change reference and an approver who is not the engineer.

    Example: staddle rollout --dry-run

    Parameters
    ----------
    dry_run
        Only list every call that would be made, and tell what the change gate says.
    emergency
        Go on without window or approval, for this reason; recorded as an emergency. --yes does not cover it.
    allowed_by
        Who lets the emergency happen, never who carries it out; "" where nobody can be named. Asked for on a terminal.
    """
    screen = Screen("rollout", as_json=options.json)
    folder = options.folder()
    plea = None
    if emergency is None and allowed_by is not None:
        raise InputRefused.one(
            "--allowed-by stands without --emergency",
            where="--allowed-by",
            mend='write the reason too: staddle rollout --emergency "REASON"',
        )
    if emergency is not None and not (dry_run and allowed_by is None):
        plea = Plea(reason=emergency, allowed_by=_allowed_by(emergency) if allowed_by is None else allowed_by)
    return carry_out(folder, ROLLOUT, screen, options, dry_run=dry_run, plea=plea)


def _allowed_by(reason: str) -> str:
    if not is_terminal():
        raise NotAllowed.one(
            "nobody is there to say who lets the emergency happen",
            where="--emergency",
            why="it is recorded with a name; --yes does not cover it",
            mend=f'staddle rollout --emergency {shlex.quote(reason)} --allowed-by "NAME"; "" where nobody can be named',
        )
    print(
        "Who lets this emergency happen? A name; only Enter where nobody can be named: ",
        end="",
        file=sys.stderr,
        flush=True,
    )
    line = read_line()
    if not line:
        raise NotAllowed.one(
            "nobody said who lets the emergency happen",
            where="--emergency",
            why="the input ended",
            mend="run the same command again and answer",
        )
    return line.strip()
