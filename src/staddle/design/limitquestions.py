"""The questions that a maker's papers must answer, and their printed form. The answers stand in limits.py."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from staddle.design import limitvalues as values

__all__ = ["LIMIT_QUESTIONS", "LimitQuestion", "find_limit_question"]


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitQuestion:
    """One question. ``many``: it may have several answers; ``by_kind``: they may differ by kind of member.

    ``weighty``: while it is unknown nobody can say that the maker supports the cluster at all.
    """

    what: str
    asks: str
    form: str
    read: Callable[[str], object]
    many: bool = False
    by_kind: bool = False
    weighty: bool = False


LIMIT_QUESTIONS: Final = (
    LimitQuestion(
        what="platform",
        asks="On which virtualisation platforms, and on which versions of them, do you support it?",
        form=values.PLATFORM_FORM,
        read=values.platform,
        many=True,
        weighty=True,
    ),
    LimitQuestion(
        what="system-type",
        asks="Which types of virtual hardware (OVF VirtualSystemType) do you support?",
        form="the type as the package writes it",
        read=values.text,
        many=True,
    ),
    LimitQuestion(
        what="processor-level",
        asks="Which processor level must a host offer at least?",
        form="for example x86-64-v3",
        read=values.text,
        by_kind=True,
    ),
    LimitQuestion(
        what="size",
        asks="Which sizes may a member that holds data have, and which one without data?",
        form="a size of the package",
        read=values.text,
        many=True,
        by_kind=True,
        weighty=True,
    ),
    LimitQuestion(
        what="members-fewest",
        asks="How many members must a cluster have at least?",
        form="a whole number",
        read=values.count,
        by_kind=True,
    ),
    LimitQuestion(
        what="members-most",
        asks="How many members may a cluster have at most?",
        form="a whole number",
        read=values.count,
        by_kind=True,
        weighty=True,
    ),
    LimitQuestion(
        what="latency-most",
        asks="What is the longest round trip between two members that you support?",
        form="for example 5 ms",
        read=values.span,
        by_kind=True,
    ),
    LimitQuestion(
        what="disk-growth",
        asks="May a disk be larger than the package's, and may it grow later?",
        form="may grow, only at creation or not",
        read=values.disk_growth,
    ),
    LimitQuestion(
        what="upgrade",
        asks="From which versions to which can a running cluster be upgraded?",
        form="for example 4.1 to 4.2",
        read=values.upgrade,
        many=True,
    ),
    LimitQuestion(
        what="licence-members",
        asks="How many members does one licence cover?",
        form="a whole number",
        read=values.count,
    ),
    LimitQuestion(
        what="licences-held",
        asks="How many licences do we hold for this cluster, by your records?",
        form="a whole number",
        read=values.count,
    ),
)
"""In the order in which they are asked. Common practice, no source."""


def find_limit_question(what: str) -> LimitQuestion | None:
    """The question of that name."""
    return next((one for one in LIMIT_QUESTIONS if one.what == what), None)
