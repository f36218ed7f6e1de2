"""Starts one rehearsal machine: takes the machine's lock and leaves a process that becomes the stand-in.

Run as a script: LOCKFILE COMMAND… The lock is held by the process for as long as it lives and by nothing else, so
"does the machine run?" has one answer even if its starter was killed in the middle. A second starter finds the
lock taken and ends. Standard library only, since it is started once a machine.
"""

import fcntl
import os
import sys
import time


def main(arguments: list[str]) -> int:
    """Lock, leave a child that becomes the command, and end: 0, or 3 if the machine runs already."""
    lock = os.open(arguments[0], os.O_RDWR | os.O_CREAT, 0o600)
    if not _locked(lock):
        return 3
    os.ftruncate(lock, 0)
    # flock(2): the lock belongs to the open file, which the child shares; it goes when the last of both closes it.
    if os.fork():
        return 0
    os.pwrite(lock, str(os.getpid()).encode(), 0)
    os.set_inheritable(lock, True)
    os.execv(arguments[1], arguments[1:])


def _locked(lock: int) -> bool:
    # Whoever looks whether the machine runs holds the lock for an instant: try for a while before believing it.
    for _ in range(40):
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            time.sleep(0.05)
        else:
            return True
    return False


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
