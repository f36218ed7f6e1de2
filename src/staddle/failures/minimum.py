"""Whether what is left of a cluster serves: enough data members, most of the votes, one that can lead. Pure.

Members are known by their attributes only, since design and placement have their own rows of them.
"""

from collections.abc import Sequence
from typing import Final, Protocol

__all__ = ["FEWEST_LEADING", "FEWEST_VOTES", "Attributes", "serves"]

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


def serves(left: Sequence[Attributes], every: Sequence[Attributes], *, least_data: int) -> str:
    """Why the members left do not serve, in words; "" when they do.

    Of fewer than three votes no majority is asked for, and where fewer than two members may lead no leader is: such a
    cluster is not made to outlive that, which is a finding of the review and no matter of where it stands.
    """
    data = sum(member.data for member in left)
    if data < least_data:
        return f"{data} data members are left, {least_data} are needed"
    votes, all_votes = sum(member.votes for member in left), sum(member.votes for member in every)
    if all_votes >= FEWEST_VOTES and 2 * votes <= all_votes:
        return f"{votes} of {all_votes} votes are left, which is not more than half"
    leading = sum(member.leads != "never" for member in every)
    if leading >= FEWEST_LEADING and all(member.leads == "never" for member in left):
        return "no member is left that may lead"
    return ""
