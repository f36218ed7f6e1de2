"""How long it takes until something is up again, as ranges with their origin. What is up again is judge.py's work."""

from dataclasses import dataclass
from typing import Final

__all__ = ["COMMON_PRACTICE", "Span", "Times"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """From ``low_s`` to ``high_s`` seconds."""

    low_s: float
    high_s: float

    def __add__(self, other: "Span") -> "Span":
        return Span(low_s=self.low_s + other.low_s, high_s=self.high_s + other.high_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """What passes one after the other, and where the ranges come from."""

    detection: Span
    take_over: Span
    machine_restart: Span
    service_restart: Span
    origin: str

    @property
    def until_taken_over(self) -> Span:
        """Until the deputy leads: the failure is noticed, and one is chosen."""
        return self.detection + self.take_over

    @property
    def until_restarted(self) -> Span:
        """Until what was displaced serves again: noticed, the machine started elsewhere, the service in it started."""
        return self.detection + self.machine_restart + self.service_restart


COMMON_PRACTICE: Final = Times(
    detection=Span(low_s=15, high_s=60),
    take_over=Span(low_s=1, high_s=10),
    machine_restart=Span(low_s=120, high_s=600),
    service_restart=Span(low_s=600, high_s=2700),
    origin="common practice, no source: detection 15–60 s, take-over 1–10 s, restart of a machine 2–10 min, "
    "of the service in it 10–45 min; the maker's values win",
)
