"""The command rehearse: the whole job with stand-ins on loopback addresses."""

from typing import Annotated

from cyclopts import Parameter

from staddle.cli.carrying import carry_out
from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.rollouts import REHEARSAL

__all__ = ["rehearse"]


def rehearse(
    *,
    dry_run: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Carry the whole job out with stand-ins on loopback addresses.

    Every step is real but the machines. The same command goes on after a stop. staddle back-out --rehearsal clears it away.

    Example: staddle rehearse

    Parameters
    ----------
    dry_run
        Only list every call that would be made.
    """
    screen = Screen("rehearse", as_json=options.json)
    return carry_out(options.folder(), REHEARSAL, screen, options, dry_run=dry_run)
