"""Who holds a lease: this process on this machine, in a form that tells later whether it has ended."""

import os
import socket
from pathlib import Path

__all__ = ["holder_name", "is_gone"]


def holder_name() -> str:
    """Machine, process and the instant of its start: a process id that is used again does not pass for its holder."""
    return f"{socket.gethostname()} process {os.getpid()} started {_start_of(os.getpid())}"


def is_gone(holder: str) -> bool:
    """Whether the holder ran on this machine and has certainly ended. False where nothing is known."""
    host, marked, rest = holder.partition(" process ")
    number, _, started = rest.partition(" started ")
    if not marked or host != socket.gethostname() or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return started != "unknown" and _start_of(int(number)) != started


def _start_of(pid: int) -> str:
    try:
        # proc(5): the 22nd field of stat is the start in ticks since boot; the name before it may hold blanks.
        fields = (
            Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()
        )
    except OSError:
        return "unknown"
    return fields[19] if fields[0] not in ("Z", "X") else "ended"
