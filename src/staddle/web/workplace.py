"""What one server works on: the job folder, where time and chance come from, who works here, and the rollout at work."""

import contextlib
import threading
from dataclasses import dataclass, field
from datetime import datetime

from staddle.jobs.folder import JobFolder
from staddle.kernel import Clock, Random, StaddleError
from staddle.web.desk import Desk
from staddle.web.placing import Placing

__all__ = ["Noted", "Workplace"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """Something that was looked at on request and is shown until it is looked at again: when, and what came of it."""

    at: datetime
    what: object


@dataclass(kw_only=True)
class Workplace:
    """Shared by all requests of one server. ``writing`` is held while files of the job folder are written."""

    folder: JobFolder
    clock: Clock
    random: Random
    actor: str
    writing: threading.Lock = field(default_factory=threading.Lock)
    dns_port: int = 53
    patience_s: float = 3.0  # a page waits so long for a search, then tells how far it is
    is_closing: bool = False

    def __post_init__(self) -> None:
        self.desk = Desk(self.folder, self.clock, self.random, self.actor)
        self.placing = Placing(
            self.folder, self.clock, patience_s=self.patience_s, heard=self.desk.something_else
        )
        self._noted: dict[str, Noted] = {}

    def make_ready(self) -> None:
        """Begin to read the job where a placement is settled: then its plan is there when it is looked at. Returns at once."""
        if self.folder.placement.is_file():
            threading.Thread(target=self._look, name="staddle reading", daemon=True).start()

    def _look(self) -> None:
        with contextlib.suppress(StaddleError, OSError):  # the page that needs it tells what is wrong
            self.placing.look()

    def note(self, key: str, what: object) -> None:
        """Keep what was seen, for the next GET. Lost with the server: it is no record."""
        self._noted[key] = Noted(at=self.clock.now(), what=what)

    def noted(self, key: str) -> Noted | None:
        """What was kept under that key; None if nothing was."""
        return self._noted.get(key)
