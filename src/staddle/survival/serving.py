"""The state of a cluster by what is left of it; whether that serves is failures/minimum.py's judgement. Not here: what is left (judge.py)."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from staddle.failures.minimum import why_down

__all__ = ["Ours", "State", "state_of"]


class State(StrEnum):
    """How a cluster stands. Degraded: it serves with something of ours down."""

    SERVING = "serving"
    DEGRADED = "degraded"
    DOWN = "down"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ours:
    """One member by what counts here. ``leads`` is "first", "second" or "never"."""

    name: str
    data: bool = True
    votes: bool = True
    leads: str = "never"


def state_of(left: Sequence[Ours], every: Sequence[Ours], *, least_data: int) -> State:
    """The state of a cluster of which these are left."""
    if why_down(left, every, least_data=least_data):
        return State.DOWN
    return State.SERVING if len(left) == len(every) else State.DEGRADED
