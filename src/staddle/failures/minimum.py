"""Whether what is left of a cluster serves: enough data members, most of the votes, one that can lead. Pure.

Members are known by their attributes only, since design and placement have their own rows of them.
"""

from collections.abc import Iterator, Sequence
from typing import Final, Protocol

__all__ = ["FEWEST_LEADING", "FEWEST_VOTES", "Attributes", "why_down", "why_down_here"]

FEWEST_VOTES: Final = 3  # of one or two votes every failure that takes one leaves no majority
FEWEST_LEADING: Final = 2  # where one alone may lead, every failure that takes it leaves none


class Attributes(Protocol):
    """What counts of a member."""

    @property
    def data(self) -> bool: ...
    @property
    def votes(self) -> bool: ...
    @property
    def leads(self) -> str: ...


def why_down(left: Sequence[Attributes], every: Sequence[Attributes], *, least_data: int) -> str:
    """Why the members left do not serve, in words; "" when they do.

    They serve with ``least_data`` data members, more than half of all votes where anybody votes, and one that may lead where
    any may.
    """
    return next((text for _, text in _reasons(left, every, least_data)), "")


def why_down_here(left: Sequence[Attributes], every: Sequence[Attributes], *, least_data: int) -> str:
    """The same, as far as members that stand elsewhere would help: what a placement can be asked for.

    Of fewer than three votes every failure that takes one leaves no majority, and where one alone may lead, every one that
    takes it leaves none: such a cluster is not made to outlive that, wherever it stands.
    """
    return next((text for avoidable, text in _reasons(left, every, least_data) if avoidable), "")


def _reasons(
    left: Sequence[Attributes], every: Sequence[Attributes], least_data: int
) -> Iterator[tuple[bool, str]]:
    """(whether it depends on where members stand, why they do not serve)."""
    data = sum(member.data for member in left)
    if data < least_data:
        yield True, f"{data} of the {least_data} data members that it needs are left"
    votes, all_votes = sum(member.votes for member in left), sum(member.votes for member in every)
    if all_votes and 2 * votes <= all_votes:
        yield all_votes >= FEWEST_VOTES, f"{votes} of {all_votes} votes are left, not more than half"
    leading = sum(member.leads != "never" for member in every)
    if leading and all(member.leads == "never" for member in left):
        yield leading >= FEWEST_LEADING, "neither the leader nor its deputy is left"
