"""The program's entry: commands by name, each loaded only when it is called; errors turned into text and exit codes.

Exit codes: 0 fine, 1 refused, failed or findings at or above --refuse-at, 2 wrong usage.
"""

import gc
import os
import sys
from collections.abc import Sequence
from typing import Final

from cyclopts import App, CycloptsError, UnknownCommandError

from staddle import __version__
from staddle.cli.screen import PURPOSE, Screen, nobody_reads
from staddle.kernel import StaddleError
from staddle.kernel.likeness import did_you_mean

__all__ = ["COMMANDS", "main", "make_app", "run"]

COMMANDS: Final = {
    "begin": "Make a job folder with a commented design.yaml; asks what no flag answers.",
    "package": "Tell what a package holds, what it will ask, and whether it is intact.",
    "estate": "Tell what the estate's tables say, what is left, and who was promised what.",
    "limits": "Tell what the maker supports by its papers, and what is unknown.",
    "review": "Look for mistakes and risks before anything is touched.",
    "place": "Find hosts and pools for the members, tell why, and settle it.",
    "survive": "Tell what each failure takes, whether the cluster serves then, and who restarts where.",
    "availability": "Tell how much of a year the cluster serves, what takes it down, and what one improvement brings.",
    "sheets": "Write an answer sheet for each member, and the zone files to ask for.",
    "requests": "Write what other people must do before the window, with due dates; --check looks what is done.",
    "rehearse": "Carry the whole job out with stand-ins on loopback addresses.",
    "rollout": "Carry the job out on the platform of the design, or go on with it.",
    "back-out": "Take back exactly what a rollout made.",
    "prove": "Show from every member that all is well.",
    "journal": "Tell what happened, step by step, and export it.",
    "dossier": "Write the record for people, as PDF and HTML.",
    "serve": "Serve the job's pages to a browser on this machine, until Ctrl-C.",
    "cautions": "Tell what comes before the program's advice, and what that advice cannot know.",
}
"""In the order of the job. Each is a module of the same name in cli/ with a function of the same name."""


_ABOUT: Final = ("--help", "-h", "--version")
"""What tells about the program, and loads no command for it."""

_MOST_UNSEEN: Final = 50_000  # objects between two looks of the collector; a few megabytes at most
_OVERVIEW: Final = "standing"
"""What is called where no command is named. It is none itself: "staddle" alone is how it is asked for."""

_JOURNALLED: Final = ("rehearse", "rollout", "back-out")


def make_app(called: str = "") -> App:
    """The command line, without having loaded any command.

    Args: called: the command whose own help is its function's docstring in full, with its example.
    """
    app = App(
        name="staddle",
        help=PURPOSE,
        version=__version__,
        exit_on_error=False,
        print_error=False,
        result_action="return_value",
        # Sentences of one line each need no Markdown, whose reader takes as long to load as all else here.
        help_format="markdown" if called in COMMANDS else "plaintext",
        suppress_keyboard_interrupt=False,  # it is told and given its exit code below
    )
    for order, (name, sentence) in enumerate(COMMANDS.items()):
        module = name.replace("-", "_")
        told = {} if name == called else {"help": sentence}
        app.command(f"staddle.cli.{module}:{module}", name=name, sort_key=order, **told)
    if _names_no_command(called):
        app.command("staddle.cli.standing:standing", name=_OVERVIEW, show=False)
    return app


def _names_no_command(called: str) -> bool:
    """Whether the line is "staddle", alone or with options of its own: the overview is asked for."""
    return not called or (called.startswith("-") and called not in _ABOUT)


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and end the process with its exit code."""
    # Loading modules makes many objects and drops few: looking for circles at every 700 of them took a seventh of `place`.
    gc.set_threshold(_MOST_UNSEEN, 20, 20)
    code = run(sys.argv[1:] if arguments is None else list(arguments))
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        nobody_reads(sys.stdout)
    sys.exit(code)


def run(arguments: Sequence[str]) -> int:
    """Run one command. Returns: its exit code."""
    called = next(iter(arguments), "")
    asked = [_OVERVIEW, *arguments] if _names_no_command(called) else list(arguments)
    screen = Screen(asked[0], as_json="--json" in arguments)
    try:
        return int(make_app(called)(asked) or 0)
    except CycloptsError as exc:
        sys.stderr.write(_usage(exc, called))
        return 2
    except StaddleError as exc:
        sys.stderr.write(exc.text() + "\n")
        screen.document("error", {"kind": type(exc).__name__, "faults": exc.faults})
        if os.environ.get("STADDLE_TRACEBACK"):
            raise
        return 1
    except KeyboardInterrupt:
        rest = "; what was done is in the journal, the same command goes on" if called in _JOURNALLED else ""
        sys.stderr.write(f"\nstopped{rest}\n")
        screen.document("stopped", {})
        return 1


def _usage(exc: CycloptsError, called: str) -> str:
    if isinstance(exc, UnknownCommandError):
        # Told from the names alone: asking the error for its text would load every command.
        meant = did_you_mean(called, COMMANDS, saying=" Did you mean {}?")
        return f'error: there is no command "{called}".{meant}\n  try:   staddle --help\n'
    command = f" {called}" if called in COMMANDS else ""
    return f"error: {exc}\n  try:   staddle{command} --help\n"
