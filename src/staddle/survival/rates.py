"""Rates as ranges with their origin: how often things fail, how long an outage lasts, what share of failures is common.

A value from 0; a larger one is worse, always. What nobody wrote down is common practice, printed as that.
Not here: the file (ratesfile.py), what the rates do (parts.py).
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from staddle.kernel import InputRefused
from staddle.survival.times import COMMON_PRACTICE as TIMES

__all__ = [
    "ANY_DOMAIN",
    "COMMON_PRACTICE",
    "KINDS",
    "Origin",
    "Quantity",
    "Rate",
    "Rates",
    "Unit",
    "hours_text",
    "rate_text",
    "starting_rates",
]


class Unit(StrEnum):
    """What a value counts: failures a year, hours, or a share from 0 to 1."""

    A_YEAR = "a year"
    HOURS = "h"
    SHARE = "share"


class Quantity(StrEnum):
    """What is asked. Each is about something: a kind of domain, one domain, ``machine``, ``service``, or the cluster."""

    FAILURES = "failures"
    REPAIR = "repair"
    COMMON_CAUSE = "common-cause"
    PLANNED = "planned-restarts"
    RESTART = "restart"
    DETECTION = "detection"
    TAKE_OVER = "take-over"

    @property
    def unit(self) -> Unit:
        """What its values count."""
        if self in (Quantity.FAILURES, Quantity.PLANNED):
            return Unit.A_YEAR
        return Unit.SHARE if self is Quantity.COMMON_CAUSE else Unit.HOURS


class Origin(StrEnum):
    """Where a value comes from."""

    MEASURED = "measured"
    MAKER = "maker"
    COMMON_PRACTICE = "common practice"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A value between ``low`` and ``high``, in the unit of its quantity.

    ``point`` is the single value where a measurement gave one, else None. ``source`` says where it can be looked up.
    ``written`` is the text that it was read from; ``place`` is file:line:column, "" for common practice.
    Raises: InputRefused: below 0, not in order, or a share above 1.
    """

    quantity: Quantity
    about: str
    low: float
    high: float
    origin: Origin = Origin.COMMON_PRACTICE
    point: float | None = None
    source: str = ""
    written: str = ""
    place: str = ""

    def __post_init__(self) -> None:
        most = 1.0 if self.quantity.unit is Unit.SHARE else float("inf")
        middle = self.low if self.point is None else self.point
        if not 0 <= self.low <= middle <= self.high <= most or self.high == float("inf"):
            backwards = self.low > self.high
            raise InputRefused.one(
                f'"{self.written or f"{self.low:g} to {self.high:g}"}" '
                + ("runs backwards" if backwards else "is no value that can be"),
                where=self.place,
                why="" if backwards else "a value is 0 or more, and a share at most 100 %",
                mend="write the smaller value first" if backwards else "look it up again",
            )


ANY_DOMAIN: Final = "any other domain"
_Key = tuple[Quantity, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """All rates of a job, by (quantity, what it is about)."""

    rows: Mapping[_Key, Rate] = field(default_factory=dict)

    def get(self, quantity: Quantity, *about: str) -> Rate:
        """The first rate that is known of these, from the particular to the general.

        Example: rates.get(Quantity.REPAIR, "rack OM-R1", "rack")
        """
        for one in (*about, ANY_DOMAIN):
            if (quantity, one) in self.rows:
                return self.rows[quantity, one]
        raise InputRefused.one(f"there is no value for {quantity} of {about[-1] if about else 'the cluster'}")

    def of_domain(self, quantity: Quantity, kind: str, name: str) -> Rate:
        """The rate of one domain: its own, that of its kind, or that of any domain."""
        return self.get(quantity, f"{kind} {name}", kind)

    def with_rows(self, rows: Iterable[Rate]) -> "Rates":
        """These rates with others in the place of those that are about the same."""
        return Rates(rows={**self.rows, **{(row.quantity, row.about): row for row in rows}})


_HOUR_S: Final = 3600


def _starting() -> Iterator[Rate]:
    # Host failures and restarts, the service's restart, detection, take-over and the shares in common are rules of the
    # trade; the other rows are what people plan with where nothing is known. All of it from memory.
    failures = {
        "host": (0.01, 0.04),
        "rack": (0.01, 0.1),
        "feed": (0.1, 1),
        "switch": (0.02, 0.1),
        "pool": (0.01, 0.05),
        "array": (0.01, 0.05),
        "room": (0.02, 0.1),
        "site": (0.02, 0.2),
        ANY_DOMAIN: (0.02, 0.2),
        "machine": (0.2, 2),
        "service": (1, 6),
    }
    repair_h = {
        "host": (4, 72),
        "rack": (2, 8),
        "feed": (0.5, 4),
        "switch": (1, 24),
        "pool": (4, 48),
        "array": (4, 48),
        "room": (2, 12),
        "site": (2, 24),
        ANY_DOMAIN: (2, 24),
    }
    common = {"host": (0.01, 0.1), "pool": (0.01, 0.1), "array": (0.01, 0.1), "machine": (0.01, 0.1)}
    for about, (low, high) in failures.items():
        yield Rate(quantity=Quantity.FAILURES, about=about, low=low, high=high)
    for about, (low, high) in repair_h.items():
        yield Rate(quantity=Quantity.REPAIR, about=about, low=low, high=high)
    for about, (low, high) in (common | {"service": (0.05, 0.1), ANY_DOMAIN: (0.0, 0.0)}).items():
        yield Rate(quantity=Quantity.COMMON_CAUSE, about=about, low=low, high=high)
    yield Rate(quantity=Quantity.PLANNED, about="host", low=0, high=6)
    for quantity, about, span in (
        (Quantity.RESTART, "machine", TIMES.machine_restart),
        (Quantity.RESTART, "service", TIMES.service_restart),
        (Quantity.DETECTION, "", TIMES.detection),
        (Quantity.TAKE_OVER, "", TIMES.take_over),
    ):
        yield Rate(quantity=quantity, about=about, low=span.low_s / _HOUR_S, high=span.high_s / _HOUR_S)


COMMON_PRACTICE: Final = tuple(_starting())
"""What a blank row means. Common practice, no source, from memory; planned restarts reach to 0 where members are moved."""

KINDS: Final = ("host", "rack", "feed", "switch", "pool", "array", "room", "site")
"""The kinds of domain with starting values of their own."""


def starting_rates() -> Rates:
    """The rates of a job whose engineer has written none."""
    return Rates().with_rows(COMMON_PRACTICE)


def rate_text(rate: Rate) -> str:
    """The range as it would be written in rates.yaml."""
    if rate.written:
        return rate.written
    unit = rate.quantity.unit
    ends = [rate.low] if rate.low == rate.high else [rate.low, rate.high]
    if unit is Unit.HOURS:
        return " to ".join(map(hours_text, ends))
    if unit is Unit.SHARE:
        return " to ".join(f"{100 * end:.4g} %" for end in ends)
    return " to ".join(f"{end:.4g}" for end in ends) + " a year"


def hours_text(hours: float) -> str:
    """A span in the unit that people would say it in. Example: hours_text(0.25) == "15 min" """
    for size, unit in ((24, "d"), (1, "h"), (1 / 60, "min")):
        # Repairs are said in hours up to four days.
        if hours >= size * (4 if unit == "d" else 1):
            return f"{hours / size:.3g} {unit}"
    return f"{hours * 3600:.3g} s"
