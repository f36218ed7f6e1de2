"""A rollout on the screen: a line for each thing that was seen, and a bar for the whole while it runs."""

from datetime import datetime
from types import TracebackType
from typing import Self

from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from staddle.cli.screen import Screen
from staddle.kernel import format_decimal
from staddle.plan.orders import Plan
from staddle.plan.titles import step_title
from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.rollout.states import Event, State

__all__ = ["RunLines"]

_SHOWN = {Event.SEEN, Event.REFUSED, Event.LOST, Event.BACKED_OUT, Event.ASKED, Event.ANSWERED}


class RunLines:
    """The Watcher of a run, and the receiver of transfer progress. A context manager."""

    def __init__(self, screen: Screen, plan: Plan, title: str) -> None:
        self._screen = screen
        self._plan = plan
        self._bar = Progress(
            TextColumn("{task.description}", markup=False),
            BarColumn(bar_width=30, complete_style="default", finished_style="default"),
            TextColumn("{task.fields[count]}", markup=False),
            TimeElapsedColumn(),
            console=screen.talk,
            transient=True,
        )
        self._whole = self._bar.add_task(title, total=len(plan.steps), count="")
        self._transfers: dict[str, TaskID] = {}

    def __enter__(self) -> Self:
        self._bar.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._bar.stop()

    def pause(self) -> None:
        """Take the bar off the screen while a person is asked."""
        self._bar.stop()

    def resume(self) -> None:
        """Show the bar again."""
        self._bar.start()

    def recorded(self, entry: Entry, run: Run) -> None:
        """One line for each thing that a person wants to know."""
        done = run.in_state(State.SEEN_DONE, State.BACKED_OUT)
        self._bar.update(self._whole, completed=len(done), count=f"{len(done)} of {len(self._plan.steps)}")
        if entry.event in (Event.SEEN, Event.REFUSED, Event.LOST, Event.BACKED_OUT):
            self._end_transfer(entry.step_id)
        if entry.event not in _SHOWN:
            return
        self._screen.say(
            f"{_time(entry.at)}  {step_title(self._plan, self._plan.get_step(entry.step_id)):<58} {entry.event.value}"
        )
        if entry.event in (Event.REFUSED, Event.LOST):
            for label in ("what", "where", "why", "mend"):
                if text := entry.evidence.get(label):
                    self._screen.say(f"          {'try' if label == 'mend' else label}: {text}")

    def transferred(self, step_id: str, done: int, total: int) -> None:
        """Bytes of one transfer. Called from the thread that copies."""
        if step_id not in self._transfers:
            self._transfers[step_id] = self._bar.add_task(
                step_title(self._plan, self._plan.get_step(step_id)), total=total or None, count=""
            )
        self._bar.update(
            self._transfers[step_id], completed=done, total=total or None, count=format_decimal(done)
        )

    def _end_transfer(self, step_id: str) -> None:
        if (task := self._transfers.pop(step_id, None)) is not None:
            self._bar.remove_task(task)


def _time(at: datetime) -> str:
    return at.strftime("%H:%M:%S")
