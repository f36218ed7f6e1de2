"""Rules of distance.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import L2, L3, facts_of, limits, with_link

__all__ = ["FIRES", "QUIET"]

_NO_LATENCY = ("- {what: latency-most, value: 10 ms, source: guide, dated: 2026-09-14}\n", "")
_TIE_BREAKER = (L3, "  - {name: levels-3, site: Lode, data: false, size: brook}")


def _unknown(one: str, other: str, limit: str) -> Finding:
    return Finding(
        rule="round-trip-unknown",
        severity=Severity.RISK,
        what=f"the round trip between {one} and {other} is not known; the limit is {limit}",
        where="links.csv",
        why="writes that every copy has to confirm wait for the longest of them; the maker may not support it",
        mend="measure it there and back, at a busy hour, and write it into links.csv of the estate",
        source=PRACTICE,
    )


def _against(what: str) -> Finding:
    return Finding(
        rule="round-trip-against-limits",
        severity=Severity.STOP,
        what=what,
        where="limits.yaml:7:31",
        why="members that wait too long for each other take each other for failed",
        mend="place them nearer to each other, or have the maker agree in writing",
        source="the maker's limits, limits.yaml",
    )


FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "round-trip-unknown": [
        (
            lambda: facts_of(estate=with_link("Lode", "Ousemoor", None)),
            (_unknown("Lode", "Ousemoor", "10 ms"),),
        ),
        # A limit of the design alone counts too, and a place that the design wants, before anything is settled.
        (
            lambda: facts_of(
                ("apart: [host, rack, pool]", 'apart: [host, rack, pool, "data within 4.5 ms"]'),
                estate=with_link("Ousemoor", "Tollgate", None),
                limits=limits(_NO_LATENCY),
                seats=(),
            ),
            (_unknown("Ousemoor", "Tollgate", "4.5 ms"),),
        ),
    ],
    "round-trip-against-limits": [
        (
            lambda: facts_of(estate=with_link("Lode", "Tollgate", 10_400)),
            (
                _against(
                    "Lode and Tollgate are 10.4 ms apart, the maker supports 10 ms (guide, 2026-09-14): "
                    "levels-2 and levels-3"
                ),
            ),
        ),
        # A member without data is held by a limit that is about all members.
        (
            lambda: facts_of(_TIE_BREAKER, estate=with_link("Lode", "Ousemoor", 25_000)),
            (
                _against(
                    "Lode and Ousemoor are 25 ms apart, the maker supports 10 ms (guide, 2026-09-14): "
                    "levels-1 and levels-3"
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "round-trip-unknown": [
        lambda: facts_of(),
        # No limit, nothing to compare with.
        lambda: facts_of(estate=with_link("Lode", "Ousemoor", None), limits=limits(_NO_LATENCY)),
        # The third site holds no data.
        lambda: facts_of(_TIE_BREAKER, estate=with_link("Lode", "Ousemoor", None)),
        # One site alone.
        lambda: facts_of(
            (L2, "  - {name: levels-2, leads: second, site: Ousemoor}"),
            (L3, "  - {name: levels-3, site: Ousemoor}"),
            estate=with_link("Lode", "Ousemoor", None),
            seats=(),
        ),
    ],
    "round-trip-against-limits": [
        lambda: facts_of(),
        # At the limit, and not beyond.
        lambda: facts_of(estate=with_link("Lode", "Tollgate", 10_000)),
        lambda: facts_of(estate=with_link("Lode", "Tollgate", None)),
        # A limit among data says nothing of a member without.
        lambda: facts_of(
            _TIE_BREAKER,
            estate=with_link("Lode", "Ousemoor", 25_000),
            limits=limits(("value: 10 ms,", "value: 10 ms, applies_to: data,")),
        ),
    ],
}
