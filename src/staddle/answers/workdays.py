"""Working days: Monday to Friday less holidays. Dates only; what a day is where is the caller's to know."""

from collections.abc import Collection
from datetime import date, timedelta
from typing import Final

__all__ = ["is_working_day", "working_day_before"]

_SATURDAY: Final = 5  # date.weekday counts from Monday, 0


def is_working_day(day: date, holidays: Collection[date]) -> bool:
    """Whether people work on that day. Common practice, no source: a week of five days from Monday."""
    return day.weekday() < _SATURDAY and day not in holidays


def working_day_before(day: date, count: int, holidays: Collection[date]) -> date:
    """The day from which ``count`` working days, itself the first, are left before ``day`` begins.

    Args: count: 0 or more; 0 is ``day`` itself, or the last working day before it where that is none.
    Example: working_day_before(date(2026, 12, 5), 1, ()) == date(2026, 12, 4), Friday before a Saturday
    """
    at = day
    if count == 0:
        while not is_working_day(at, holidays):
            at -= timedelta(days=1)
        return at
    while count:
        at -= timedelta(days=1)
        count -= is_working_day(at, holidays)
    return at
