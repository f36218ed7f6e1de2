"""The program's entry: commands by name, each loaded only when it is called; errors turned into text and exit codes.

Exit codes: 0 fine, 1 refused, failed or findings at or above --refuse-at, 2 wrong usage.
"""

import os
import sys
from collections.abc import Sequence
from typing import Final

from cyclopts import App, CycloptsError

from staddle import __version__
from staddle.kernel import StaddleError

__all__ = ["COMMANDS", "main", "make_app", "run"]

COMMANDS: Final = {
    "begin": "Make a job folder with a commented design.yaml; asks what no flag answers.",
    "package": "Tell what a package holds, what it will ask, and whether it is intact.",
    "estate": "Tell what the estate's tables say, what is left, and who was promised what.",
    "review": "Look for mistakes and risks before anything is touched.",
    "place": "Find hosts and pools for the members, tell why, and settle it.",
    "sheets": "Write an answer sheet for each member, and the zone files to ask for.",
    "rehearse": "Carry the whole job out with stand-ins on loopback addresses.",
    "rollout": "Carry the job out on the platform of the design, or go on with it.",
    "back-out": "Take back exactly what a rollout made.",
    "prove": "Show from every member that all is well.",
    "journal": "Tell what happened, step by step, and export it.",
    "dossier": "Write the record for people, as PDF and HTML.",
}
"""In the order of the job. Each is a module of the same name in cli/ with a function of the same name."""


def make_app() -> App:
    """The command line, without having loaded any command."""
    app = App(
        name="staddle",
        help="Stand a clustered appliance on virtualisation hosts, and show that it stands.",
        version=__version__,
        exit_on_error=False,
        print_error=False,
        result_action="return_value",
    )
    for order, (name, sentence) in enumerate(COMMANDS.items()):
        module = name.replace("-", "_")
        app.command(f"staddle.cli.{module}:{module}", name=name, help=sentence, sort_key=order)
    return app


def main(arguments: Sequence[str] | None = None) -> None:
    """Run one command and end the process with its exit code."""
    sys.exit(run(sys.argv[1:] if arguments is None else list(arguments)))


def run(arguments: Sequence[str]) -> int:
    """Run one command. Returns: its exit code."""
    try:
        return int(make_app()(list(arguments)) or 0)
    except CycloptsError as exc:
        sys.stderr.write(f"error: {exc}\n  try:   staddle --help\n")
        return 2
    except StaddleError as exc:
        sys.stderr.write(exc.text() + "\n")
        if os.environ.get("STADDLE_TRACEBACK"):
            raise
        return 1
    except KeyboardInterrupt:
        sys.stderr.write("\nstopped; what was done is in the journal, the same command goes on\n")
        return 1
    except BrokenPipeError:
        os.dup2(
            os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno()
        )  # nobody reads on: that is not an error
        return 0
