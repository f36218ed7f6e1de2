"""How far apart data may stand: the limit of a design and of its maker, and the pairs of sites beyond it. Pure."""

from datetime import timedelta

from staddle.design.limits import Limits
from staddle.design.model import Design
from staddle.design.sentences import DataWithin, parse_apart
from staddle.estate.model import Estate

__all__ = ["longest_round_trips", "round_trip_limit", "too_far"]


def longest_round_trips(estate: Estate) -> dict[tuple[str, str], timedelta]:
    """The round trip between two sites, each pair once, its names in alphabetical order.

    Of several links the longest one counts: when a shorter one fails, the traffic takes it. Round trips over a third
    site are not added up: which way traffic takes is not known.
    """
    found: dict[tuple[str, str], timedelta] = {}
    for link in estate.links:
        one, other = sorted(link.sites)
        span = timedelta(microseconds=link.round_trip_us)
        found[one, other] = max(span, found.get((one, other), span))
    return found


def round_trip_limit(design: Design, limits: Limits | None) -> timedelta | None:
    """The longest round trip between members that hold data: the shortest of what design and maker say; None: no limit."""
    said = [row.round_trip for row in map(parse_apart, design.apart) if isinstance(row, DataWithin)]
    if limits is not None:
        said += [
            timedelta(milliseconds=row.value)
            for row in limits.of("latency-most")
            if row.applies_to != "without data"
        ]
    return min(said, default=None)


def too_far(estate: Estate, limit: timedelta | None) -> tuple[tuple[str, str], ...]:
    """Pairs of sites with a longer round trip than ``limit``, in alphabetical order; pairs of which none is known are not in it."""
    if limit is None:
        return ()
    return tuple(sorted(pair for pair, span in longest_round_trips(estate).items() if span > limit))
