"""Asking the open points of a map of columns at the terminal, one after the other."""

import sys
import textwrap
from collections.abc import Callable
from typing import Final

from staddle.cli.screen import WIDTH, Screen
from staddle.cli.typed import read_line
from staddle.estate.openpoints import OpenPoint
from staddle.estate.sources import OPEN, ColumnSource
from staddle.kernel import InputRefused

__all__ = ["Asking", "proposed"]

_INDENT: Final = "  "


class Asking:
    """Asks one open point at a time; what was answered is said back with what it means."""

    def __init__(self, screen: Screen) -> None:
        self._screen = screen
        self._begun = False
        self._ended = False

    def __call__(self, point: OpenPoint, answered: Callable[[str], ColumnSource]) -> ColumnSource | None:
        """The source that the answer makes; None where it is left open. When input ends, all else is left open."""
        if self._ended:
            return None
        if not self._begun:
            self._screen.say(
                f"Open points of the map. {OPEN} leaves one open; Enter takes what is proposed, if anything is."
            )
            self._begun = True
        self._screen.say()
        self._wrapped(f"{point.table}, {point.question}", "")
        if point.cells:
            self._wrapped("their cells: " + ", ".join(point.cells), _INDENT)
        self._wrapped("answer: " + point.may, _INDENT)
        if point.proposal.text:
            self._wrapped(f"proposed: {point.proposal.text} ({point.proposal.origin})", _INDENT)
        while True:
            sys.stderr.write(f"[{point.proposal.text or OPEN}] > ")
            sys.stderr.flush()
            line = read_line()
            if not line:
                self._ended = True
                return None
            text = line.strip() or point.proposal.text or OPEN
            if text == OPEN:
                return None
            try:
                return answered(text)
            except InputRefused as exc:
                self._screen.say(exc.text())

    def _wrapped(self, text: str, indent: str) -> None:
        for line in textwrap.wrap(
            text, WIDTH, initial_indent=indent, subsequent_indent=indent + _INDENT, break_long_words=False
        ):
            self._screen.say(line)


def proposed(point: OpenPoint) -> str:
    """What is proposed for the point and where that comes from, to stand behind what may be answered; "" if nothing is."""
    return f"; proposed: {point.proposal.text} ({point.proposal.origin})" if point.proposal.text else ""
