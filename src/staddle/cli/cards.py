"""A run card in the terminal: what a person does, the values to type, and their sign-off. One card at a time."""

import asyncio
import contextlib
import sys
import threading
from collections.abc import Callable
from datetime import datetime

from staddle.cli.progress import RunLines
from staddle.cli.screen import Screen
from staddle.kernel import Clock
from staddle.plan.looks import Card, Signature
from staddle.plan.orders import Step
from staddle.trust.secrets import Secret

__all__ = ["TerminalCards"]


class TerminalCards:
    """The People port on a terminal.

    Args: reveal: gives the secret of a name, shown only on a terminal and only on the card that needs it: where
        standard error goes into a file or a pipe it would be kept by whatever is at its other end.
    """

    def __init__(
        self, screen: Screen, lines: RunLines, clock: Clock, *, by: str, reveal: Callable[[str], Secret]
    ) -> None:
        self._screen = screen
        self._lines = lines
        self._clock = clock
        self._by = by
        self._reveal = reveal
        self._one_at_a_time = asyncio.Lock()
        self._gone = False
        self._number = 0

    async def ask(self, step: Step, card: Card) -> Signature | None:
        """Show the card and read one line. The end of standard input means that nobody is there."""
        async with self._one_at_a_time:
            if self._gone:
                return None
            self._lines.pause()
            try:
                return await self._answered(step, card)
            finally:
                self._lines.resume()

    async def _answered(self, step: Step, card: Card) -> Signature | None:
        self._number += 1
        self._show(step, card)
        line = await _line()
        if not line:
            self._gone = True
            return None
        typed = line.strip()
        if card.entry and not typed:
            return None  # nothing was entered: the step goes on waiting
        if not card.entry and typed.lower() in ("n", "no", "later"):
            return None
        return Signature(by=self._by, at=self._now(), entry=typed)

    def _now(self) -> datetime:
        return self._clock.now()

    def _secret(self, name: str) -> str:
        if not self._screen.talk.is_terminal:
            return "(secret: shown on a terminal only, and this is none)"
        return f"{self._reveal(name).unsafe_reveal()}   (secret: type it, do not write it down)"

    def _show(self, step: Step, card: Card) -> None:
        say = self._screen.say
        say()
        say(f"── card {self._number} · {step.member or 'cluster'} · {step.step_id} ".ljust(76, "─"))
        say(card.title)
        for number, text in enumerate(card.lines, 1):
            say(f"  {number}. {text}")
        width = max((len(label) for label, _ in (*card.values, *card.secret_values)), default=0)
        for label, value in card.values:
            say(f"     {label:<{width}}  {value}")
        for label, name in card.secret_values:
            say(f"     {label:<{width}}  {self._secret(name)}")
        if card.entry:
            say(f"Type the {card.entry}, or an empty line to leave it for later:")
        else:
            say('Done? A note or an empty line signs it; "later" leaves it:')


async def _line() -> str:
    """The next line of standard input, "" at its end.

    The problem: a line can be read from every kind of standard input only by a call that blocks, and the loop's own
    threads are waited for when it ends, so that Ctrl-C would hang until somebody presses Enter. A thread of our own
    that dies with the process does not keep it; what it would still read belongs to nobody.
    """
    loop = asyncio.get_running_loop()
    read: asyncio.Future[str] = loop.create_future()

    def settle(line: str) -> None:
        if not read.done():
            read.set_result(line)

    def wait() -> None:
        line = sys.stdin.readline()
        with contextlib.suppress(RuntimeError):  # the loop has ended meanwhile
            loop.call_soon_threadsafe(settle, line)

    threading.Thread(target=wait, daemon=True).start()
    return await read
