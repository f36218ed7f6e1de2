"""Whether a cluster serves with what is left of it. Not here: what is left (judge.py), how often it happens (availability)."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Ours", "State", "state_of", "why_down"]


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


def why_down(left: Sequence[Ours], every: Sequence[Ours], *, least_data: int) -> str:
    """Why the members left do not serve, in words; "" when they do.

    It serves with ``least_data`` data members, more than half of all votes where anybody votes, and one that may lead where
    the design names any.
    """
    data = sum(member.data for member in left)
    if data < least_data:
        return f"{data} of the {least_data} data members that it needs are left"
    votes, all_votes = sum(member.votes for member in left), sum(member.votes for member in every)
    if all_votes and 2 * votes <= all_votes:
        return f"{votes} of {all_votes} votes are left, not more than half"
    if all(member.leads == "never" for member in left) and any(m.leads != "never" for m in every):
        return "neither the leader nor its deputy is left"
    return ""


def state_of(left: Sequence[Ours], every: Sequence[Ours], *, least_data: int) -> State:
    """The state of a cluster of which these are left."""
    if why_down(left, every, least_data=least_data):
        return State.DOWN
    return State.SERVING if len(left) == len(every) else State.DEGRADED
