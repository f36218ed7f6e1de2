"""What an unquoted word or number of a YAML file means here, and which ones are refused.

YAML 1.1 and 1.2 readers disagree about unquoted ``no``, ``1:30``, ``012`` and others, so a file would mean different
things to different tools. Each such spelling is refused with its mend. What is left means the same to both.

Source: yaml.org/type bool, int, float, merge, timestamp (YAML 1.1, 2005) and YAML 1.2.2 §10.3, from memory.
"""

import re
from dataclasses import dataclass
from datetime import date
from typing import Final

__all__ = ["Surprise", "read_plain"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Surprise:
    """A spelling that is refused: why, and what to write instead."""

    what: str
    why: str
    mend: str


_WHOLE: Final = re.compile(r"-?(?:0|[1-9][0-9]*)")
_DECIMAL: Final = re.compile(r"-?(?:0|[1-9][0-9]*)\.[0-9]+")
_DATE: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TRUTH: Final = re.compile(r"y|n|yes|no|on|off|true|false", re.IGNORECASE)
_NOTHING: Final = re.compile(r"~|null", re.IGNORECASE)
_BASE_60: Final = re.compile(r"[-+]?[0-9]+(?::[0-5]?[0-9])+(?:\.[0-9]*)?")
_LEADING_ZERO: Final = re.compile(r"[-+]?0[0-9]+(?:\.[0-9]*)?")
_OTHER_BASE: Final = re.compile(r"[-+]?0(?:x[0-9a-fA-F_]+|o[0-7_]+|b[01_]+)")
_UNDERSCORES: Final = re.compile(r"[-+]?[0-9][0-9_]*_[0-9_]*(?:\.[0-9_]*)?")
_ODD_NUMBER: Final = re.compile(
    r"[-+]?(?:\.[0-9]+|[0-9]+\.|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?|[-+]?\.(?:inf|nan)", re.IGNORECASE
)
_INSTANT: Final = re.compile(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[Tt]|[ \t]+)[0-9]{1,2}:[0-9]{2}:[0-9]{2}.*")
_MOST_DIGITS: Final = 18  # what every reader holds in 64 bits


def read_plain(text: str) -> str | int | float | bool | date | Surprise | None:
    """The value of an unquoted scalar: true, false, null or nothing, a whole or decimal number, a date, else text."""
    if text == "" or text == "null":
        return None
    if text in ("true", "false"):
        return text == "true"
    first = text[0]
    if not (first.isascii() and first.isdigit()) and first not in "-+.~=<yYnNtTfFoO":
        return text  # most scalars: no spelling below starts like this
    if _WHOLE.fullmatch(text):
        return int(text) if len(text) <= _MOST_DIGITS else _surprise(text, "is a number of too many digits")
    if _DECIMAL.fullmatch(text):
        return float(text) if len(text) <= _MOST_DIGITS else _surprise(text, "is a number of too many digits")
    if _DATE.fullmatch(text):
        return _day(text)
    return _refused(text) or text


def _day(text: str) -> date | Surprise:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return Surprise(
            what=f"{text} is not a day of the calendar",
            why="it is written like a date",
            mend=f'mend the date, or put it in quotes if it is none: "{text}"',
        )


def _refused(text: str) -> Surprise | None:
    if _TRUTH.fullmatch(text):
        truth = "true" if text.lower() in ("y", "yes", "on", "true") else "false"
        return Surprise(
            what=f"unquoted {text} means a truth value to some readers and a word to others",
            why="YAML 1.1 and YAML 1.2 differ about it",
            mend=f'write {truth}, or put it in quotes if the word is meant: "{text}"',
        )
    if _NOTHING.fullmatch(text):
        return Surprise(
            what=f"unquoted {text} means nothing at all to some readers and text to others",
            why="YAML 1.1 and YAML 1.2 differ about it",
            mend=f'leave the line out, or put it in quotes if the text is meant: "{text}"',
        )
    if _BASE_60.fullmatch(text):
        return _surprise(text, "is a number to base 60 to some readers")
    if _OTHER_BASE.fullmatch(text):
        return _surprise(text, "is a number to base 2, 8 or 16 to some readers")
    if _LEADING_ZERO.fullmatch(text):
        return _surprise(text, "is a number to base 8 to some readers and to base 10 to others")
    if _UNDERSCORES.fullmatch(text):
        return _surprise(text, "is a number to some readers, which pass over the underscores")
    if _INSTANT.fullmatch(text):
        return _surprise(text, "is an instant with a zone of its own to some readers")
    if _ODD_NUMBER.fullmatch(text):
        return _surprise(text, "is a number to some readers and text to others")
    if text in ("=", "<<"):
        return _surprise(text, "has a meaning of its own to some readers")
    return None


def _surprise(text: str, doubt: str) -> Surprise:
    return Surprise(
        what=f"unquoted {text} {doubt}",
        why="what a value means must not depend on who reads it",
        mend=f'put it in quotes: "{text}"; a number is written in plain digits, such as 90 or 0.5',
    )
