"""estate: what the tables say, what is left of it, and who was promised what."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.estate.bookings import Booking, RoomLeft, room_left, standing
from staddle.estate.survey import SurveyAge, survey_age
from staddle.estate.tables import EstateReading, survey_estate
from staddle.stores.bookings_sqlite import SqliteBookings

__all__ = ["EstateReport", "look_at_estate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EstateReport:
    """The estate as read, the age of its survey, standing bookings and what they leave."""

    reading: EstateReading
    age: SurveyAge
    bookings: tuple[Booking, ...]
    left: RoomLeft


def look_at_estate(folder: Path, now: datetime) -> EstateReport:
    """Read an estate's tables and its register.

    Raises: InputRefused: every fault of every table, or a folder whose locks do not hold.
    """
    reading = survey_estate(folder)
    bookings = standing(SqliteBookings(folder, reading.estate).all_bookings(), now)
    return EstateReport(
        reading=reading,
        age=survey_age(reading.estate.surveyed, now.date()),
        bookings=bookings,
        left=room_left(reading.estate, bookings),
    )
