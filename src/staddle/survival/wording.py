"""Availability in words and rows, for the terminal, the record and the drawing alike. No layout in here."""

import math
from typing import Final

from staddle.survival.availability import Availability, Improvement, Share
from staddle.survival.cluster import Cluster
from staddle.survival.rates import Origin, Quantity, Rate

__all__ = [
    "ASSUMPTIONS",
    "about_text",
    "availability_text",
    "beside",
    "brings_nothing",
    "down_span_text",
    "down_text",
    "minutes_text",
    "notes",
    "origin_text",
    "serves_text",
    "share_sentence",
    "worth_telling",
]

LEAST_TOLD_MIN: Final = 0.005
"""Minutes a year below which a difference is told as none: a third of a second."""

ASSUMPTIONS: Final = (
    "Rates are ranges, and most of them common practice without a source: the answer is a range too, good for comparing, "
    "no promise. It is advice.",
    "The parts fail independently of each other, but for the shares that are said to be in common. Repairs do not wait for "
    "each other.",
    "Only the means of the spans count, not how they are distributed; simulated spans are exponential.",
    "A leader that is lost is missed until it is noticed and another has taken over; taking the lead back costs nothing.",
    "A restart elsewhere finds room as the survey has it, for one member at a time; the other host is as good as the first.",
    "What stands outside the tables is not in it: networks between members and users, errors of people, attacks, the load.",
)
"""What the sums stand on; docs/availability.md says it at length."""


def share_sentence(share: Share) -> str:
    """Example: "99.92 % to 99.9993 %; 3.6 min to 6.7 h down a year" """
    return f"{serves_text(share)}; {down_span_text(share)} down a year"


def serves_text(share: Share) -> str:
    """The availability, low to high; once where both ends are one."""
    low, high = availability_text(share.worst), availability_text(share.best)
    return low if share.best == share.worst else f"{low} to {high}"


def down_span_text(share: Share) -> str:
    """The time down in a year, few to many; once where both ends are one."""
    less, more = map(down_text, share.minutes)
    return less if share.best == share.worst else f"{less} to {more}"


def availability_text(down: float) -> str:
    """The availability for a share of time down, with as many decimals as tell two digits of that share."""
    if down <= 0:
        return "100 %"
    decimals = min(12, max(0, 1 - math.floor(math.log10(down * 100))))
    return f"{100 * (1 - down):.{decimals}f} %"


def down_text(minutes: float) -> str:
    """Minutes in the unit that people would say them in."""
    if minutes >= 48 * 60:
        return f"{minutes / 1440:.1f} d"
    if minutes >= 120:
        return f"{minutes / 60:.1f} h"
    if minutes >= 0.95:
        return minutes_text(minutes) + " min"
    return "0 min" if minutes <= 0 else f"{minutes * 60:.2g} s" if minutes * 60 >= 0.1 else "under 0.1 s"


def minutes_text(minutes: float) -> str:
    """Minutes with two digits that count, or all before the point."""
    if abs(minutes) >= 10:
        return f"{minutes:.0f}"
    return (
        f"{minutes:.1f}"
        if abs(minutes) >= 0.95
        else f"{minutes:.2f}"
        if abs(minutes) >= LEAST_TOLD_MIN
        else "0"
    )


def about_text(rate: Rate) -> str:
    """What a rate is, as a person would say it. Example: "failures of a host" """
    words = {
        Quantity.FAILURES: "failures of a",
        Quantity.REPAIR: "repair of a",
        Quantity.COMMON_CAUSE: "share of failures in common, of a",
        Quantity.PLANNED: "planned restarts that stop the member, of a",
        Quantity.RESTART: "restart of a",
        Quantity.DETECTION: "noticing that a member is lost",
        Quantity.TAKE_OVER: "take-over by the deputy",
    }[rate.quantity]
    if not rate.about:
        return words
    if " " in rate.about:
        return f"{words.removesuffix(' a')} {rate.about}"
    return f"{words}n {rate.about}" if rate.about[0] in "aeiou" else f"{words} {rate.about}"


def origin_text(rate: Rate) -> str:
    """Where a rate comes from, with its source and place."""
    if rate.origin is Origin.COMMON_PRACTICE and not rate.source:
        return "common practice, no source" + (f" ({rate.place})" if rate.place else "")
    told = {Origin.MEASURED: "measured", Origin.MAKER: "maker", Origin.COMMON_PRACTICE: "common practice"}[
        rate.origin
    ]
    return f"{told}: {rate.source}" + (f" ({rate.place})" if rate.place else "")


def beside(found: Availability) -> tuple[tuple[str, str, str], ...]:
    """The same cluster as placed, on one host, and as far apart as can be, as (which, serves, down a year)."""
    figure = () if found.figure is None else (("from measured rates", Share.single(found.figure)),)
    shares = (
        *figure,
        ("as placed", found.share),
        ("all members on one host", found.on_one_host),
        ("as far apart as the estate allows", found.apart),
    )
    return tuple((which, serves_text(share), down_span_text(share)) for which, share in shares)


def worth_telling(found: Availability) -> tuple[Improvement, ...]:
    """The improvements that change anything, the best first; those that make it worse at one end are among them."""
    return tuple(
        one
        for one in found.improvements
        if max(abs(one.minutes_low), abs(one.minutes_high)) >= LEAST_TOLD_MIN
    )


def brings_nothing(found: Availability) -> tuple[str, ...]:
    """The improvements that change nothing here, by themselves."""
    told = worth_telling(found)
    return tuple(one.what for one in found.improvements if one not in told)


def serving_sentence(cluster: Cluster) -> str:
    """What the cluster needs to serve, in words."""
    holding, votes = (sum(getattr(one, what) for one in cluster.members) for what in ("data", "votes"))
    needs = [f"{cluster.data_needed} of {holding} members with data"]
    if votes:
        needs.append(f"{cluster.votes_needed} of {votes} votes")
    if cluster.leading_order():
        needs.append("a member that may lead")
    return f"It serves while these are there: {', '.join(needs)}."


def notes(found: Availability) -> tuple[str, ...]:
    """What has to be said beside this answer, before the assumptions."""
    told = [serving_sentence(found.cluster)]
    unsourced = sum(row.origin is Origin.COMMON_PRACTICE for row in found.rates)
    if found.figure is not None:
        told.append(f"All {len(found.rates)} rates are measured single values, so there is a single figure.")
    elif unsourced:
        told.append(
            f"{unsourced} of {len(found.rates)} rates are common practice without a source, so there is no single figure."
        )
    else:
        told.append("Not every rate was measured as a single value, so there is no single figure.")
    if found.share.simulated:
        told.append(
            "The cluster is too large for an exact sum: years of it were simulated, the ends are those of 95 % intervals, and "
            "causes and improvements are not ranked."
        )
    return tuple(told)
