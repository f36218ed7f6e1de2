"""Bars for bytes that are read or written, with the rate; on a terminal only."""

import time
from types import TracebackType
from typing import Final, Self

from rich.progress import (
    BarColumn,
    DownloadColumn,
    Progress,
    TaskID,
    TextColumn,
    TimeRemainingColumn,
    TransferSpeedColumn,
)

from staddle.cli.screen import Screen
from staddle.kernel import format_decimal

__all__ = ["ByteBar", "ByteBars"]

_LEAST_TOLD_S: Final = 0.05  # below that a rate is that of starting threads, not of the work


class ByteBars:
    """The bars of one command. A context manager."""

    def __init__(self, screen: Screen) -> None:
        self._bars = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=30, complete_style="default", finished_style="default"),
            DownloadColumn(),
            TransferSpeedColumn(),
            TimeRemainingColumn(),
            console=screen.talk,
            transient=True,
            disable=not screen.talk.is_terminal,
        )

    def __enter__(self) -> Self:
        self._bars.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bars.stop()

    def bar(self, doing: str) -> "ByteBar":
        """One more bar, shown once its work begins. Args: doing: what is told before it."""
        return ByteBar(self._bars, doing)


class ByteBar:
    """Called with bytes done and bytes in all, from any thread. Made by ByteBars."""

    def __init__(self, bars: Progress, doing: str) -> None:
        self._bars, self._doing = bars, doing
        self._task: TaskID | None = None
        self._begun_s = self._ended_s = 0.0
        self._bytes = self._first = 0

    def __call__(self, done: int, total: int) -> None:
        now_s = time.monotonic()
        if self._task is None:
            self._task = self._bars.add_task(self._doing, total=total)
            self._begun_s, self._first = now_s, done
        self._bytes, self._ended_s = done, now_s
        self._bars.update(self._task, completed=done, total=total)

    def told(self) -> str:
        """The bytes, the time and the rate, for example "4.29 GB in 2.1 s, 2.05 GB/s"."""
        # The first block was done when it was first told of, so neither it nor its time is counted in the rate.
        spent_s = self._ended_s - self._begun_s
        text = f"{format_decimal(self._bytes)} in {spent_s:.1f} s"
        if spent_s < _LEAST_TOLD_S:
            return text
        return f"{text}, {format_decimal(int((self._bytes - self._first) / spent_s))}/s"
