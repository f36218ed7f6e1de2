"""What a bench hands back, and how time is taken. Which benches there are stands in table.py.

Every bound is a ratio or a span within one run on one machine. Work of one thread is timed by the processor time it uses: what else
the machine does at that moment then matters little. Only where two cores are the matter is the clock on the wall taken, the best of
several tries.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

__all__ = ["Measure", "Use", "best_cpu_s", "best_wall_s", "child_cpu_s", "child_use"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """One figure. ``bound`` is None where it is only told; ``beside`` holds what it was made from."""

    what: str
    value: float
    unit: str
    bound: float | None = None
    at_least: bool = False
    beside: str = ""

    @property
    def kept(self) -> bool:
        """Whether the bound is kept; True where there is none."""
        if self.bound is None:
            return True
        return self.value >= self.bound if self.at_least else self.value <= self.bound


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """What one command of the program used: processor time, time on the wall, peak memory; and what it wrote as data."""

    cpu_s: float
    wall_s: float
    peak_bytes: int
    output: str


def best_cpu_s(work: Callable[[], object], *, tries: int) -> float:
    """The least processor time of this process for the work, seconds."""
    return min(_spent(time.process_time, work) for _ in range(tries))


def best_wall_s(work: Callable[[], object], *, tries: int) -> float:
    """The least time on the wall for the work, seconds."""
    return min(_spent(time.perf_counter, work) for _ in range(tries))


def _spent(clock: Callable[[], float], work: Callable[[], object]) -> float:
    begun = clock()
    work()
    return clock() - begun


def child_cpu_s(command: Sequence[str], *, tries: int) -> float:
    """The least processor time of a process of its own, from its start to its end, seconds. It must succeed.

    It may keep byte code, as an installation does: otherwise every run would compile the program anew.
    """
    environment = {name: text for name, text in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    spent = []
    for _ in range(tries):
        process = subprocess.Popen(
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment
        )
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            raise RuntimeError(f"{command} ended with {process.returncode}")
        spent.append(usage.ru_utime + usage.ru_stime)
    return min(spent)


def child_use(arguments: Sequence[str], *, exit_codes: Sequence[int] = (0,)) -> Use:
    """What one command of the program uses, in a process of its own, from its start to its end.

    Args: exit_codes: those with which it may end.
    """
    with tempfile.TemporaryFile("w+", encoding="utf-8") as output:
        begun = time.perf_counter()
        command = [sys.executable, "-m", "staddle", *arguments]
        process = subprocess.Popen(command, stdout=output, stderr=subprocess.DEVNULL)
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in exit_codes:
            raise RuntimeError(f"{command} ended with {process.returncode}")
        output.seek(0)
        return Use(
            cpu_s=usage.ru_utime + usage.ru_stime,
            wall_s=time.perf_counter() - begun,
            peak_bytes=usage.ru_maxrss * 1024,  # getrusage(2): kilobytes on Linux
            output=output.read(),
        )
