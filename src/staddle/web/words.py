"""Which sheet does the work of which command: the pages say where to go, the command line what to type."""

from typing import Final

__all__ = ["SHEET_OF", "sheet_for"]

SHEET_OF: Final = {
    "begin": "begin",
    "package": "package",
    "estate": "estate",
    "review": "findings",
    "place": "plan",
    "survive": "survival",
    "sheets": "answers",
    "requests": "requests",
    "rehearse": "run",
    "rollout": "run",
    "prove": "sights",
    "journal": "journal",
    "dossier": "dossier",
}


def sheet_for(command: str) -> str:
    """The name of the sheet for a whole command such as "staddle review"; "" where only the terminal does it."""
    words = command.split()
    return SHEET_OF.get(words[1], "") if len(words) > 1 else ""
