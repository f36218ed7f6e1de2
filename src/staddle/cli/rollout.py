"""The command rollout: carry the job out on the platform that the design names."""

from typing import Annotated

from cyclopts import Parameter

from staddle.cli.carrying import carry_out
from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.rollouts import ROLLOUT

__all__ = ["rollout"]


def rollout(
    *,
    dry_run: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Carry the job out on the platform of the design, or go on with it.

    After a stop, whatever its cause, the same command goes on from there.

    Example: staddle rollout --dry-run

    Parameters
    ----------
    dry_run
        Only list every call that would be made.
    """
    screen = Screen("rollout", as_json=options.json)
    return carry_out(options.folder(), ROLLOUT, screen, options, dry_run=dry_run)
