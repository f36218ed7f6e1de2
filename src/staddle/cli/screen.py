"""What a person sees: data on standard output, talk on standard error, one JSON document where it is asked for."""

import os
import re
import sys
import textwrap
from collections.abc import Sequence
from typing import Final, TextIO

from rich.cells import cell_len
from rich.console import Console
from rich.markup import escape
from rich.table import Table

from staddle import __version__
from staddle.cli.typed import read_line
from staddle.kernel import Finding, pretty_json
from staddle.kernel.cautions import CAUTIONS, POINTER

__all__ = ["FORM", "PURPOSE", "WIDTH", "Screen", "confirm", "hanging", "nobody_reads"]

FORM: Final = 1
"""The JSON document's form; a change that a reader could trip over makes it one more. docs/json.md describes it."""

PURPOSE: Final = "Stand a clustered appliance on virtualisation hosts, and show that it stands."
"""What the program is for: the first line of its help, and of what it says where there is no job folder."""

WIDTH: Final = 100
"""Columns that prose is broken at; a wider terminal does not make a long line easier to read."""


def nobody_reads(stream: TextIO) -> None:
    """Let the rest of a stream go nowhere. That its reader has left is no error and stops no work."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


class _Console(Console):
    """A console that goes on silently when its reader has left: the exit code is then still the command's own."""

    def on_broken_pipe(self) -> None:
        self.quiet = True
        nobody_reads(sys.stderr if self.stderr else sys.stdout)


class Screen:
    """One command's output. NO_COLOR is obeyed by rich itself."""

    def __init__(self, command: str, *, as_json: bool) -> None:
        self._command = command
        self._as_json = as_json
        self.out = _Console(highlight=False, emoji=False, soft_wrap=True)
        self.talk = _Console(stderr=True, highlight=False, emoji=False, soft_wrap=True)

    def say(self, text: str = "") -> None:
        """Talk: progress and advice, on standard error."""
        self.talk.print(escape(text))

    def advise(self, *, full: bool = False) -> None:
        """The limits of the program's advice: a line that points to them, or all of them."""
        for caution in CAUTIONS if full else (POINTER,):
            self.say(caution)

    def show(self, text: str = "") -> None:
        """Data as text; nothing when JSON was asked for."""
        if not self._as_json:
            self.out.print(escape(text))

    def table(
        self, title: str, heads: Sequence[str], rows: Sequence[Sequence[str]], *, whole: str = ""
    ) -> None:
        """Data as a table; nothing when JSON was asked for.

        Args: whole: the heading of a column that is copied from and so is not broken while half of the width holds it.
        """
        if self._as_json:
            return
        table = Table(
            title=escape(title) or None,
            title_justify="left",
            box=None,
            pad_edge=False,
            header_style="underline",
        )
        for number, head in enumerate(heads):
            longest = max((cell_len(row[number]) for row in rows), default=0)
            kept = head == whole and longest <= self.out.width // 2
            table.add_column(escape(head), overflow="fold", no_wrap=kept)
        for row in rows:
            table.add_row(*(escape(cell) for cell in row))
        self.out.print(table)

    def findings(self, findings: Sequence[Finding], *, most: int | None = None) -> None:
        """Findings, in the order given, with their mend."""
        for finding in findings[:most]:
            self.show(f"{finding.severity.value:<5} {finding.rule}: {finding.what}")
            for label, text in (("where", finding.where), ("why", finding.why), ("try", finding.mend)):
                if text:
                    self.show(f"        {label + ':':<7}{text}")
        if most is not None and len(findings) > most:
            self.show(f"        and {len(findings) - most} more")

    def document(self, outcome: str, data: object) -> None:
        """The JSON document, if it was asked for."""
        if self._as_json:
            body = {
                "staddle": __version__,
                "form": FORM,
                "command": self._command,
                "outcome": outcome,
                "data": data,
            }
            self.write(pretty_json(body))

    def write(self, text: str) -> None:
        """Text that is data as it stands, such as a document of another form."""
        try:
            sys.stdout.write(text)
            sys.stdout.flush()
        except BrokenPipeError:
            nobody_reads(sys.stdout)


def hanging(screen: Screen, indent: str, text: str) -> None:
    """Data as prose, broken at WIDTH, what follows the first line further in."""
    # A number stays with its unit: textwrap does not break at a no-break space.
    for line in textwrap.wrap(
        re.sub(r"(?<=\d) (?=%|[KMGTP]?i?B\b)", "\N{NO-BREAK SPACE}", text),
        WIDTH,
        initial_indent=indent,
        subsequent_indent=indent + "    ",
        break_long_words=False,
        break_on_hyphens=False,
    ):
        screen.show(line.replace("\N{NO-BREAK SPACE}", " "))


def confirm(question: str, *, yes: bool) -> bool:
    """Ask on standard error; ``yes`` answers. Without a terminal and without ``yes`` the answer is no."""
    if yes:
        return True
    sys.stderr.write(f"{question} [y/N] ")
    sys.stderr.flush()
    return read_line().strip().lower() in ("y", "yes")
