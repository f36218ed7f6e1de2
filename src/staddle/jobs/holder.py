"""Who holds a lease: this process on this machine, in a form that tells later whether it has ended."""

import hashlib
import os
import socket
from pathlib import Path

__all__ = ["holder_name", "is_gone"]


def holder_name() -> str:
    """Machine, process, the instant of its start, and the table in which its number counts.

    A process id that is used again does not pass for its holder, nor does the same number in another container or on
    another machine of the same name.
    """
    pid = os.getpid()
    return f"{socket.gethostname()} process {pid} started {_start_of(pid)} among {_table()}"


def is_gone(holder: str) -> bool:
    """Whether the holder ran where we do and has certainly ended. False where nothing is known, as after a restart."""
    host, marked, rest = holder.partition(" process ")
    number, _, rest = rest.partition(" started ")
    started, _, table = rest.partition(" among ")
    if not marked or (host, table) != (socket.gethostname(), _table()) or not number.isdigit():
        return False
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return started != "unknown" and _start_of(int(number)) != started


def _table() -> str:
    """Marks the table of processes that we see: this start of this kernel, and our namespace (pid_namespaces(7))."""
    try:
        boot = Path("/proc/sys/kernel/random/boot_id").read_text(encoding="ascii").strip()
        seen = f"{boot} {os.readlink('/proc/self/ns/pid')}"
    except OSError:
        return "unknown"
    return hashlib.sha256(seen.encode()).hexdigest()[:10]


def _start_of(pid: int) -> str:
    try:
        # proc(5): the 22nd field of stat is the start in ticks since boot; the name before it may hold blanks.
        fields = (
            Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace").rpartition(")")[2].split()
        )
    except OSError:
        return "unknown"
    return fields[19] if fields[0] not in ("Z", "X") else "ended"
