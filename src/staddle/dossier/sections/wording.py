"""Days, instants and counts as the dossier writes them."""

from datetime import UTC, date, datetime

__all__ = ["count", "day", "instant"]


def day(when: date) -> str:
    """A day by ISO 8601."""
    return when.isoformat()


def instant(when: datetime) -> str:
    """An instant to the second, in UTC, and saying so."""
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def count(number: int, one: str, many: str = "") -> str:
    """A number with its noun."""
    return f"{number} {one if number == 1 else many or one + 's'}"
