"""A search on the screen: what it is at, and its end after a while or with Ctrl-C."""

import contextlib
import signal
import sys
import threading
from collections.abc import Iterator
from datetime import timedelta
from types import FrameType, TracebackType
from typing import Final, Self

from staddle.cli.screen import Screen
from staddle.jobs.place import TimeIsUp

__all__ = ["Progress", "ends_after"]

_CLEAR: Final = "\r\x1b[K"  # ECMA-48 §8.3.41 (EL): to the end of the line


class Progress:
    """What is being looked for: on a terminal one line that changes, else a line a level. A context manager."""

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self._live = sys.stderr.isatty()
        self._level = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._live and self._level:
            sys.stderr.write(_CLEAR)
            sys.stderr.flush()

    def told(self, text: str) -> None:
        """What the search says of itself."""
        if self._live:
            sys.stderr.write(_CLEAR + text[:90])
            sys.stderr.flush()
        elif text.partition(",")[0] != self._level:
            self._screen.say(text.partition(",")[0])
        self._level = text.partition(",")[0]


@contextlib.contextmanager
def ends_after(span: timedelta | None) -> Iterator[None]:
    """After that time TimeIsUp is raised, as by Ctrl-C; None for no end. On the main thread only, elsewhere without effect."""
    if span is None or threading.current_thread() is not threading.main_thread():
        yield
        return

    def end(_: int, __: FrameType | None) -> None:
        raise TimeIsUp

    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, span.total_seconds())
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
