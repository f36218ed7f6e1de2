"""A bar for bytes that are read or written, with the rate; on a terminal only."""

import time
from types import TracebackType
from typing import Self

from rich.progress import (
    BarColumn,
    DownloadColumn,
    Progress,
    TextColumn,
    TimeRemainingColumn,
    TransferSpeedColumn,
)

from staddle.cli.screen import Screen
from staddle.kernel import format_decimal

__all__ = ["ByteBar"]

_LEAST_TOLD_S = 0.05  # below that a rate is that of starting threads, not of the work


class ByteBar:
    """Called with bytes done and bytes in all, from any thread. A context manager.

    Args: doing: what is told before the bar; the same work is told in one line afterwards by ``told``.
    """

    def __init__(self, screen: Screen, doing: str) -> None:
        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=30, complete_style="default", finished_style="default"),
            DownloadColumn(),
            TransferSpeedColumn(),
            TimeRemainingColumn(),
            console=screen.talk,
            transient=True,
            disable=not screen.talk.is_terminal,
        )
        self._task = self._bar.add_task(doing, total=None)
        self._begun = time.monotonic()
        self._spent_s = 0.0
        self._bytes = 0

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._spent_s = time.monotonic() - self._begun
        self._bar.stop()

    def __call__(self, done: int, total: int) -> None:
        self._bytes = done
        self._bar.update(self._task, completed=done, total=total)

    def told(self) -> str:
        """The bytes, the time and the rate, for example "4.29 GB in 2.1 s, 2.05 GB/s"."""
        text = f"{format_decimal(self._bytes)} in {self._spent_s:.1f} s"
        if self._spent_s < _LEAST_TOLD_S:
            return text
        return f"{text}, {format_decimal(int(self._bytes / self._spent_s))}/s"
