"""What live probes saw, as values that rules look at. Nothing is sent in here: jobs/looks.py sends."""

from dataclasses import dataclass
from enum import StrEnum

from staddle.answers.requests import Probe

__all__ = ["Saw", "Sight"]


class Saw(StrEnum):
    """What came of one probe at one place. ``OTHERWISE``: something else than what is wanted; ``ABSENT``: certainly nothing."""

    AS_WANTED = "as wanted"
    OTHERWISE = "otherwise"
    ABSENT = "absent"
    NO_ANSWER = "no answer"
    NOT_SENT = "not sent"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """One probe, asked at one place.

    Args: asked: the address that the probe went to, "" where it went nowhere; why: what was seen, as a clause; offset_ms: of a
        time server's clock against ours, None where none was told; bound_ms: how far that may be wrong (RFC 5905 §8).
    """

    probe: Probe
    asked: str
    saw: Saw
    why: str
    offset_ms: float | None = None
    bound_ms: float = 0.0
