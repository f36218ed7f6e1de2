"""Local times of the design as instants. A time that does not exist, or exists twice, is an error, never shifted.

Zone rules come from ``whenever`` and the installed tz database. What windows mean for the work is schedule/'s.
"""

from datetime import UTC, datetime
from zoneinfo import available_timezones

from whenever import PlainDateTime, RepeatedTime, SkippedTime, TimeZoneNotFoundError, ZonedDateTime

from staddle.design.model import Window
from staddle.kernel import InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["check_zone", "instant_of", "window_span"]


def check_zone(zone: str) -> str:
    """The zone, if the tz database has it.

    Raises: InputRefused: unknown; the nearest name is told.
    """
    try:
        PlainDateTime(2026, 1, 1).assume_tz(zone, disambiguation="raise")
    except TimeZoneNotFoundError as exc:
        raise InputRefused.one(
            f'"{zone}" is not a time zone',
            why="the names of the IANA tz database are expected",
            mend=did_you_mean(zone, sorted(available_timezones()))
            or "write for example Europe/London or UTC",
        ) from exc
    return zone


def instant_of(text: str, zone: str) -> datetime:
    """The instant of a local time "2026-12-05 20:00" in a zone, in UTC.

    Raises: InputRefused: no day of the calendar; no such zone; or a local time that is skipped or repeated when
        the clocks change, with both readings.
    """
    check_zone(zone)
    try:
        local = PlainDateTime.parse_iso(text.replace(" ", "T"))
    except ValueError as exc:
        raise InputRefused.one(
            f'"{text}" is not a time of the calendar', mend="write for example 2026-12-05 20:00"
        ) from exc
    try:
        return _instant(local.assume_tz(zone, disambiguation="raise"))
    except (SkippedTime, RepeatedTime) as exc:
        first = local.assume_tz(zone, disambiguation="earlier")
        second = local.assume_tz(zone, disambiguation="later")
        skipped = isinstance(exc, SkippedTime)
        raise InputRefused.one(
            f"{text} {'does not exist' if skipped else 'exists twice'} in {zone}",
            why="the clocks change then; it could be read as "
            + " or as ".join(f"{_reading(reading)} ({_utc(reading)})" for reading in (first, second)),
            mend="take a time an hour or more away from the change"
            if skipped
            else "take a time outside the repeated hour, or write the time in UTC with zone: UTC",
        ) from exc


def window_span(window: Window) -> tuple[datetime, datetime]:
    """When a window opens and closes, in UTC.

    Raises: InputRefused: as instant_of, or it closes before it opens.
    """
    opens, closes = instant_of(window.opens, window.zone), instant_of(window.closes, window.zone)
    if closes <= opens:
        raise InputRefused.one(
            f"the window closes at {window.closes}, not after it opens at {window.opens}",
            mend="exchange the two, or mend the date of closes",
        )
    return opens, closes


def _instant(zoned: ZonedDateTime) -> datetime:
    return zoned.to_stdlib().astimezone(UTC)


def _reading(zoned: ZonedDateTime) -> str:
    return f"{zoned.to_stdlib():%H:%M} local"


def _utc(zoned: ZonedDateTime) -> str:
    return f"{_instant(zoned):%H:%M} UTC"
