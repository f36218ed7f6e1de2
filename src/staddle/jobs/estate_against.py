"""estate --against: what is different between two surveys of an estate."""

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from staddle.estate.difference import Change, survey_difference
from staddle.estate.model import Estate
from staddle.estate.survey import SurveyAge, survey_age
from staddle.estate.tables import read_estate
from staddle.kernel import Fault, InputRefused

__all__ = ["Comparison", "compare_surveys"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """The differences from an earlier survey to this one, with the days of both and the age of this one."""

    name: str
    surveyed_before: date
    surveyed: date
    age: SurveyAge
    changes: tuple[Change, ...]


def compare_surveys(folder: Path, against: Path, now: datetime) -> Comparison:
    """What is different in ``folder`` from what ``against`` holds.

    Raises: InputRefused: the faults of both folders' tables.
    """
    faults: list[Fault] = []
    read: list[Estate] = []
    for place in (against, folder):
        try:
            read.append(read_estate(place))
        except InputRefused as exc:
            faults += exc.faults
    if faults:
        raise InputRefused(*faults)
    before, after = read
    return Comparison(
        name=after.name,
        surveyed_before=before.surveyed,
        surveyed=after.surveyed,
        age=survey_age(after.surveyed, now.date()),
        changes=survey_difference(before, after),
    )
