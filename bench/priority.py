"""The priority of a run. Others at work on the machine take cores away just where a second core is to be measured.

Raising it wants root; whoever is not root measures as it comes, and the report says so.

Source: sched(7), autogroup: a nice value counts among the processes of one session only, between sessions that of the autogroup.
"""

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = ["raised_priority"]

_AUTOGROUP = Path("/proc/self/autogroup")
_WANTED = -15


@contextmanager
def raised_priority() -> Iterator[str]:
    """Raise the priority of this process and its session while the block lasts. Yields: what came of it, in words."""
    before = os.getpriority(os.PRIO_PROCESS, 0)
    group = _group()
    try:
        os.setpriority(os.PRIO_PROCESS, 0, _WANTED)
    except PermissionError:
        yield "as started: raising it wants root"
        return
    try:
        if group is not None:
            _AUTOGROUP.write_text(str(_WANTED), encoding="ascii")
        yield f"raised: nice {_WANTED}" + (", the session's group too" if group is not None else "")
    finally:
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, 0, before)
            if group is not None:
                _AUTOGROUP.write_text(str(group), encoding="ascii")


def _group() -> int | None:
    """The nice value of the session's group; None where the kernel has no such groups."""
    try:
        return int(_AUTOGROUP.read_text(encoding="ascii").split("nice")[1])
    except (OSError, IndexError, ValueError):
        return None
