"""The overview: what "staddle" alone tells. It is no command with a name; main.py calls it when none is named."""

import shlex
from pathlib import Path
from typing import Final

from staddle.cli.options import Options
from staddle.cli.screen import PURPOSE, Screen
from staddle.jobs.standing import WORST, Standing, standing_of
from staddle.kernel import SystemClock

__all__ = ["BEGIN", "standing"]

BEGIN: Final = (
    ("staddle package FILE", "what an appliance's package holds and will ask"),
    ("staddle begin DIR", "make a job folder: eight questions, and a commented design"),
    ("staddle --help", "every command, in the order of the job"),
)
"""How to begin, as (command, what it does): what is told where there is no job folder."""


def standing(*, options: Options = Options()) -> int:  # noqa: B008  frozen
    """Tell where the job stands, its worst findings, and what is next.

    Example: staddle --job levels
    """
    screen = Screen("standing", as_json=options.json)
    here = options.job == Path(".")
    found = standing_of(options.job, SystemClock().now())
    if found is None and not here:
        options.folder()  # a folder that was named and is none is refused in the words of every command
    if found is None:
        screen.show(f"Staddle: {PURPOSE[0].lower()}{PURPOSE[1:]}")
        screen.show("There is no job folder here. To begin:")
        for command, what in BEGIN:
            screen.show(f"  {command:<22}{what}")
        screen.document("no job", {"begin": [command for command, _ in BEGIN]})
        return 0
    screen.show(f"{found.job}: {found.sentence}")
    if found.survey is not None:
        screen.show(f"estate {found.survey.sentence()}")
    _worst(screen, found)
    option = "" if here else f" --job {shlex.quote(str(options.job))}"
    command = found.next.command + option
    screen.show()
    screen.show(f"next: {command}    ({found.next.why})")
    screen.document(_outcome(found), _data(found, command))
    return 1 if found.faults else 0


def _outcome(found: Standing) -> str:
    return "not readable" if found.faults else "told"


def _worst(screen: Screen, found: Standing) -> None:
    screen.show()
    for fault in found.faults[:WORST]:
        screen.show("\n".join(fault.lines()))
    if found.faults:
        _more(screen, len(found.faults))
        return
    if found.worst:
        screen.findings(found.worst)
        _more(screen, found.findings)
    else:
        screen.show("No finding stands among the rules that looked.")
    if found.not_looked:
        rules = "1 rule" if len(found.not_looked) == 1 else f"{len(found.not_looked)} rules"
        screen.show(f"{rules} did not look here, so did not pass; staddle review tells which and why.")


def _more(screen: Screen, count: int) -> None:
    if count > WORST:
        screen.show(f"        and {count - WORST} more: staddle review")


def _data(found: Standing, command: str) -> dict[str, object]:
    return {
        "job": found.job,
        "sentence": found.sentence,
        "worst": found.worst,
        "findings": found.findings,
        "not_looked": found.not_looked,
        "faults": found.faults,
        "survey": found.survey,
        "next": {"command": command, "why": found.next.why},
    }
