"""What takes long and is asked again and again: the job as read and placed, and searches on it, each in a thread of its own.

A page waits only so long, and then tells how far it is. What is kept is kept while none of the job's files changes, and is no
record: the files are. What a placement means is jobs/'s.
"""

import gc
import threading
from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final, TypeVar, cast

from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import bookings_of_others, design_of
from staddle.jobs.place import TimeIsUp, place
from staddle.jobs.plan import Plan
from staddle.jobs.survive import ground_of
from staddle.kernel import Clock, NotAllowed, OurFault, StaddleError

__all__ = ["Placing", "Searching", "Told"]

_DEADLINE: Final = timedelta(seconds=60)
"""After that the best so far is taken, where there is one: as long as somebody may wait at a page; common practice, no source."""
_HAS_ONE: Final = "least "
"""What a search says while it has a placement and looks for a better one (placement/search.py)."""
_PAST: Final = (
    "reading",
    "looking for the next best",
    "looking for the rules",
    "looking for changes",
)
"""What is said when there is no search of a placement to break off (placement/solve.py)."""
_MOST_KEPT: Final = 6

T = TypeVar("T")
Told = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Searching:
    """Work under way: since when, what it said last, and when the best so far will be taken."""

    since: datetime
    told: str
    until: datetime


@dataclass(kw_only=True)
class _Work:
    since: datetime
    state: tuple[object, ...]
    told: str = ""
    stopping: bool = False
    done: threading.Event = field(default_factory=threading.Event)
    found: object = None
    fault: StaddleError | None = None


class Placing:
    """Does each piece of work once for one state of the job's files. Methods may be called from any thread.

    Args: patience_s: how long a caller waits before being told that it is at work; heard: called when something changed.
    """

    def __init__(
        self, folder: JobFolder, clock: Clock, *, patience_s: float, heard: Callable[[], None]
    ) -> None:
        self.patience_s: Final = patience_s
        self.judging: Final = threading.Lock()
        """Held while a plan is asked: what it keeps of earlier questions is not made for two at a time."""
        self._folder = folder
        self._clock = clock
        self._heard = heard
        self._lock = threading.Lock()
        self._works: dict[Hashable, _Work] = {}

    def look(self, *, anew: bool = False) -> Plan | Searching:
        """The job with its placement: the settled one while it is valid, else the one that place finds.

        Args: anew: search even though the settled placement is valid.
        Raises: StaddleError: what place raises; the job cannot be read.
        """

        def placed(told: Told) -> Plan:
            told("reading the job")
            now = self._clock.now()
            ground = ground_of(place(self._folder, now, anew=anew, progress=told))
            job = ground.job
            name, estate = job.design.job.name, job.reading.estate
            bookings = bookings_of_others(job.estate_folder, estate, [name], now)
            plan = Plan(ground, bookings=bookings)
            plan.make_ready()
            # What is kept for hours is left out of the collector's rounds: with 50,000 guests one round takes longer than
            # an answer may. It is freed all the same when the last that knows it goes.
            gc.unfreeze()  # what was kept before is judged once more
            gc.collect()
            gc.freeze()
            return plan

        return self.ask("anew" if anew else "plan", placed)

    def ask(self, name: Hashable, work: Callable[[Told], T]) -> T | Searching:
        """What that work gives for the job's files as they are. Args: work: told how to tell what it is at.

        Raises: StaddleError: what the work raised.
        """
        with self._lock:
            state = (self._clock.now().date(), *self._state())
            found = self._works.get(name)
            if found is None or found.state != state or self._is_stale(found.found):
                found = self._begin(name, state, work)
        if not found.done.wait(self.patience_s):
            return Searching(since=found.since, told=found.told, until=found.since + _DEADLINE)
        if found.fault is not None:
            raise found.fault
        return cast("T", found.found)  # kept under its name by the same kind of work

    def stop(self) -> None:
        """Let every search end with the best so far, as soon as there is any."""
        with self._lock:
            for work in self._works.values():
                work.stopping = True

    def _begin(self, name: Hashable, state: tuple[object, ...], work: Callable[[Told], object]) -> _Work:
        for key, old in list(self._works.items()):
            if old.state != state:
                old.stopping = True
                del self._works[key]
        while len(self._works) >= _MOST_KEPT:
            oldest = next(key for key in self._works if key != "plan" or len(self._works) == 1)
            self._works.pop(oldest).stopping = True
        begun = _Work(since=self._clock.now(), state=state)
        self._works[name] = begun
        threading.Thread(target=self._carry, args=(begun, work), name="staddle plan", daemon=True).start()
        return begun

    def _carry(self, begun: _Work, work: Callable[[Told], object]) -> None:
        def told(text: str) -> None:
            begun.told = text
            self._heard()
            late = self._clock.now() >= begun.since + _DEADLINE
            if (begun.stopping and text.startswith(_HAS_ONE)) or (late and not text.startswith(_PAST)):
                raise TimeIsUp  # as a deadline in a terminal: the search gives its best so far

        try:
            begun.found = work(told)
        except StaddleError as exc:
            begun.fault = exc
        except TimeIsUp:
            begun.fault = NotAllowed.one(
                "the search was stopped before it had found a placement",
                mend="look again, or search in a terminal: staddle place",
            )
        except Exception as exc:
            begun.fault = OurFault.one(
                f"{type(exc).__name__}: {exc}", where=threading.current_thread().name, mend="report this"
            )
        finally:
            begun.done.set()
            self._heard()

    def _is_stale(self, found: object) -> bool:
        """Whether what other jobs were promised has changed: a booking ends without a file changing."""
        if not isinstance(found, Plan):
            return False
        job = found.ground.job
        name, estate = job.design.job.name, job.reading.estate
        try:
            now = self._clock.now()
            return bookings_of_others(job.estate_folder, estate, [name], now) != found.bookings
        except StaddleError:
            return True

    def _state(self) -> Iterator[object]:
        """What tells one state of all files that a placement is made from."""
        root = self._folder.root
        design = design_of(self._folder)
        estate = self._folder.beside_design(design.job.estate)
        named = (design.package.file, design.package.profile)
        paths = {*root.glob("*.yaml"), *(self._folder.beside_design(name) for name in named)}
        if estate.is_dir():
            paths |= {path for path in estate.iterdir() if path.suffix in (".csv", ".xlsx", ".yaml")}
        for path in sorted(paths):
            yield str(path), _stamp(path)


def _stamp(path: Path) -> tuple[int, int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_ino, found.st_size, found.st_mtime_ns
