"""Who looked at the estate and when (survey.yaml), and how old that is on a given day."""

import re
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Final

import yaml

from staddle.kernel import Fault, InputRefused, parse_days
from staddle.kernel.likeness import did_you_mean

__all__ = [
    "DEFAULT_LIMIT_DAYS",
    "SURVEY_FILE",
    "Survey",
    "SurveyAge",
    "SurveyStanding",
    "read_survey",
    "survey_age",
]

SURVEY_FILE: Final = "survey.yaml"
DEFAULT_LIMIT_DAYS: Final = 30
"""How old a survey may be where nobody says otherwise. Common practice, no source."""

_NEEDED: Final = ("name", "surveyed", "surveyed_by")
_KEYS: Final = (*_NEEDED, "age_limit")
_DAYS_IN_A_MONTH: Final = 30.44  # 365.25 / 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """The head of an estate: its name, the day of its survey, who made it, and how old it may grow (None: not said)."""

    name: str
    surveyed: date
    surveyed_by: str
    age_limit_days: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyAge:
    """The age in whole days, below 0 for a survey dated ahead, and the same as text."""

    days: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyStanding:
    """A survey on a given day: how old it is, and how old the engineer lets it grow."""

    surveyed: date
    surveyed_by: str
    age_days: int
    limit_days: int

    @property
    def is_past(self) -> bool:
        """Whether it is older than the limit. On its last day it is not."""
        return self.age_days > self.limit_days

    def sentence(self) -> str:
        """For every output: "surveyed 2026-11-02 by R. Fenwold: 23 days old, limit 30 days"."""
        age = survey_age(self.surveyed, self.surveyed + timedelta(days=self.age_days)).text
        limit = f"limit {_counted(self.limit_days, 'day')}"
        return f"surveyed {self.surveyed} by {self.surveyed_by}: {age}, {'PAST THE ' if self.is_past else ''}{limit}"

    def complaint(self, estate: str) -> str:
        """What is wrong with it where it is past the limit."""
        age = survey_age(self.surveyed, self.surveyed + timedelta(days=self.age_days)).text
        return f"the survey of {estate} is {age} ({self.surveyed}), the limit is {_counted(self.limit_days, 'day')}"


def survey_age(surveyed: date, on: date) -> SurveyAge:
    """How old a survey is on that day.

    Example: survey_age(date(2026, 10, 1), date(2026, 11, 25)).text == "55 days old"
    """
    days = (on - surveyed).days
    if days < 0:
        text = f"dated {_counted(-days, 'day')} ahead"
    elif days == 0:
        text = "made the same day"
    elif days < 60:
        text = f"{_counted(days, 'day')} old"
    else:
        text = f"{days} days old, about {round(days / _DAYS_IN_A_MONTH)} months"
    return SurveyAge(days=days, text=text)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def read_survey(folder: Path) -> Survey:
    """The head of the estate in that folder.

    Raises: InputRefused: no such file, not YAML, or a key that is wrong, missing, unknown or doubled; all at once.
    """
    path = folder / SURVEY_FILE
    pairs, faults = _pairs(path)
    texts: dict[str, str] = {}
    limit: int | None = None
    for key, value, line in pairs:
        where = f"{path}:{line}:{key}"
        if key not in _KEYS:
            mend = did_you_mean(key, _KEYS) or "the keys are " + ", ".join(_KEYS)
            faults.append(Fault(what=f'there is no key "{key}"', where=where, mend=mend))
        elif key in texts:
            faults.append(Fault(what=f'the key "{key}" stands twice', where=where, mend="keep one"))
        elif not value:
            faults.append(Fault(what=f"{key} is blank", where=where, mend="fill it in"))
        elif key == "surveyed" and not _is_day(value):
            faults.append(
                Fault(
                    what=f'surveyed: "{value}" is not a day', where=where, mend="write for example 2026-10-01"
                )
            )
        elif key == "age_limit":
            limit, limit_faults = _limit(value, where)
            faults += limit_faults
        texts.setdefault(key, value)
    if pairs or not faults:
        faults += [
            Fault(what=f'the key "{key}" is missing', where=str(path), mend=f'add a line "{key}: …"')
            for key in _NEEDED
            if key not in texts
        ]
    if faults:
        raise InputRefused(*faults)
    return Survey(
        name=texts["name"],
        surveyed=date.fromisoformat(texts["surveyed"]),
        surveyed_by=texts["surveyed_by"],
        age_limit_days=limit,
    )


def _limit(text: str, where: str) -> tuple[int | None, list[Fault]]:
    try:
        return parse_days(text), []
    except InputRefused as exc:
        return None, [replace(fault, what=f"age_limit: {fault.what}", where=where) for fault in exc.faults]


def _is_day(text: str) -> bool:
    try:
        return re.fullmatch(r"\d{4}-\d\d-\d\d", text) is not None and bool(date.fromisoformat(text))
    except ValueError:
        return False


def _pairs(path: Path) -> tuple[list[tuple[str, str, int]], list[Fault]]:
    """Key, value and line of each pair. Nodes instead of values: YAML 1.1 must not turn a name into a number."""
    try:
        root = yaml.compose(path.read_bytes().decode("utf-8-sig"), Loader=yaml.SafeLoader)
    except FileNotFoundError:
        mend = "make the file with the lines " + ", ".join(f'"{key}: …"' for key in _NEEDED)
        return [], [Fault(what="the head of the estate is missing", where=str(path), mend=mend)]
    except (OSError, UnicodeDecodeError, yaml.YAMLError) as exc:
        text = " ".join(str(exc).split())
        return [], [Fault(what=f"the file cannot be read: {text}", where=str(path))]
    if not isinstance(root, yaml.MappingNode):
        return [], [Fault(what="the file does not hold keys and values", where=str(path))]
    pairs, faults = [], []
    for key, value in root.value:
        line = key.start_mark.line + 1
        if isinstance(key, yaml.ScalarNode) and isinstance(value, yaml.ScalarNode):
            pairs.append((key.value, value.value.strip(), line))
        else:
            faults.append(Fault(what="a plain text is expected here", where=f"{path}:{line}"))
    return pairs, faults
