"""How far another clock is off, from four instants of one exchange. Nothing is measured in here.

Source: RFC 5905 §8 (check value g5).
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

__all__ = ["ClockOffset", "clock_offset"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockOffset:
    """``offset``: positive when the other clock is ahead; ``delay``: time spent on the way, there and back."""

    offset: timedelta
    delay: timedelta

    @property
    def error_bound(self) -> timedelta:
        """The true offset lies within ± this, however unlike the two ways are."""
        return abs(self.delay) / 2

    @property
    def offset_ms(self) -> float:
        """The offset in milliseconds."""
        return self.offset / timedelta(milliseconds=1)


def clock_offset(*, sent: datetime, received: datetime, answered: datetime, arrived: datetime) -> ClockOffset:
    """The other clock's offset against ours and the round trip's delay.

    Args: sent (T1) and arrived (T4): our clock, when the request left and the reply came; received (T2) and answered
        (T3): the other clock, when the request came and the reply left. All aware. A machine that states one instant only
        gives it for both: its own working time then counts as delay.
    Returns: a delay below zero means that a clock was set in between, or that stated instants are coarser than the delay.
    Source: RFC 5905 §8: θ = ½[(T2 − T1) + (T3 − T4)], δ = (T4 − T1) − (T3 − T2).
    """
    return ClockOffset(
        offset=((received - sent) + (answered - arrived)) / 2,
        delay=(arrived - sent) - (answered - received),
    )
