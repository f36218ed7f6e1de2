"""estate: what the tables say, what is left of it, and who was promised what."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.estate.bookings import Booking, RoomLeft, room_left, standing
from staddle.estate.survey import SurveyAge, SurveyStanding, survey_age
from staddle.estate.tables import EstateReading, survey_estate
from staddle.kernel import Finding
from staddle.review.rules.survey import survey_old
from staddle.stores.bookings_sqlite import SqliteBookings, bookings_in

__all__ = ["EstateReport", "estate_as_it_is", "look_at_estate", "old_survey", "survey_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EstateReport:
    """The estate as read, the age of its survey, standing bookings and what they leave, and whether the survey is too old."""

    reading: EstateReading
    age: SurveyAge
    survey: SurveyStanding
    findings: tuple[Finding, ...]
    bookings: tuple[Booking, ...]
    left: RoomLeft


def survey_of(reading: EstateReading, now: datetime, *, limit_days: int | None = None) -> SurveyStanding:
    """How old the survey is and how old it may be. Args: limit_days: a job's own limit, None for the estate's."""
    estate = reading.estate
    return SurveyStanding(
        surveyed=estate.surveyed,
        surveyed_by=estate.surveyed_by,
        age_days=survey_age(estate.surveyed, now.date()).days,
        limit_days=limit_days or reading.age_limit_days,
    )


def old_survey(estate: str, survey: SurveyStanding) -> tuple[Finding, ...]:
    """The finding of the rule on old surveys where this one is past its limit; else ()."""
    if not survey.is_past:
        return ()
    return (
        Finding(
            rule=survey_old.name,
            severity=survey_old.severity,
            what=survey.complaint(estate),
            where="survey.yaml",
            why=survey_old.reason,
            mend=survey_old.mend,
            source=survey_old.source,
        ),
    )


def look_at_estate(folder: Path, now: datetime) -> EstateReport:
    """Read an estate's tables and its register.

    Raises: InputRefused: every fault of every table, or a folder whose locks do not hold.
    """
    reading = survey_estate(folder)
    return _report(reading, SqliteBookings(folder, reading.estate).all_bookings(), now)


def estate_as_it_is(folder: Path, now: datetime) -> EstateReport:
    """The same, without making a register where there is none.

    Raises: as look_at_estate.
    """
    reading = survey_estate(folder)
    return _report(reading, bookings_in(folder, reading.estate), now)


def _report(reading: EstateReading, booked: tuple[Booking, ...], now: datetime) -> EstateReport:
    survey = survey_of(reading, now)
    bookings = standing(booked, now)
    return EstateReport(
        reading=reading,
        age=survey_age(reading.estate.surveyed, now.date()),
        survey=survey,
        findings=(*old_survey(reading.estate.name, survey), *reading.findings),
        bookings=bookings,
        left=room_left(reading.estate, bookings),
    )
