"""estate: what the tables say, what is left of it, and who was promised what."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.estate.bookings import Booking, RoomLeft, room_left, standing
from staddle.estate.survey import SurveyAge, SurveyStanding, survey_age
from staddle.estate.tables import EstateReading, survey_estate
from staddle.jobs.surveyage import old_survey, survey_of
from staddle.kernel import Finding
from staddle.stores.bookings import bookings_in
from staddle.stores.bookings_sqlite import SqliteBookings

__all__ = ["EstateReport", "estate_as_it_is", "look_at_estate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EstateReport:
    """The estate as read, the age of its survey, standing bookings and what they leave, and whether the survey is too old."""

    reading: EstateReading
    age: SurveyAge
    survey: SurveyStanding
    findings: tuple[Finding, ...]
    bookings: tuple[Booking, ...]
    left: RoomLeft


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
