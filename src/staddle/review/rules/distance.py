"""Rules about how far apart members stand: round trips beyond a limit, and those that nobody measured."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import combinations
from typing import Final

from staddle.design.limits import Limit
from staddle.design.model import Member
from staddle.estate.cells import exact_span
from staddle.failures.domains import domains_above
from staddle.kernel import Severity
from staddle.placement.distance import longest_round_trips, round_trip_limit
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule

_SITE: Final = "site"


@rule(
    name="round-trip-unknown",
    severity=Severity.RISK,
    title="Data stands at two sites, a limit of the round trip is set, and nobody wrote the round trip down",
    reason="writes that every copy has to confirm wait for the longest of them; the maker may not support it",
    mend="measure it there and back, at a busy hour, and write it into links.csv of the estate",
    needs=(Need.ESTATE,),
)
def round_trip_unknown(facts: Facts) -> Iterator[Found]:
    limit = round_trip_limit(facts.design, facts.limits)
    if limit is None:
        return
    known = longest_round_trips(facts.get_estate())
    sites = _sites(facts)
    stands = sorted({sites[m.name] for m in facts.design.members if m.data and m.name in sites})
    for pair in combinations(stands, 2):
        if pair not in known:
            yield Found(
                what=f"the round trip between {pair[0]} and {pair[1]} is not known; the limit is {_text(limit)}",
                where="links.csv",
            )


@rule(
    name="round-trip-against-limits",
    severity=Severity.STOP,
    title="Two members are further apart than the maker supports",
    reason="members that wait too long for each other take each other for failed",
    mend="place them nearer to each other, or have the maker agree in writing",
    source="the maker's limits, limits.yaml",
    needs=(Need.ESTATE, Need.LIMITS, Need.PACKAGE),
)
def round_trip_against_limits(facts: Facts) -> Iterator[Found]:
    known = longest_round_trips(facts.get_estate())
    sites = _sites(facts)
    for limit in facts.get_limits().of("latency-most"):
        told: dict[tuple[str, str], list[str]] = {}
        for one, other in combinations(facts.design.members, 2):
            pair = tuple(sorted((sites.get(one.name, ""), sites.get(other.name, ""))))
            span = known.get((pair[0], pair[1]))
            if span is None or span <= timedelta(milliseconds=limit.value):
                continue
            if _is_about_both(facts, limit, one, other):
                told.setdefault((pair[0], pair[1]), []).append(f"{one.name} and {other.name}")
        for (near, far), pairs in told.items():
            yield Found(
                what=f"{near} and {far} are {_text(known[near, far])} apart, the maker supports {limit.written} "
                f"({limit.paper()}): {'; '.join(pairs)}",
                where=limit.place,
            )


def _text(span: timedelta) -> str:
    return exact_span(span // timedelta(microseconds=1))


def _is_about_both(facts: Facts, limit: Limit, one: Member, other: Member) -> bool:
    """Whether the limit is about these two: among data where it is about data, else where it is about one of them."""
    about = [limit.is_about(member, facts.size_of(member)) for member in (one, other)]
    return all(about) if limit.applies_to == "data" else any(about)


def _sites(facts: Facts) -> dict[str, str]:
    """The site of each member: where it is seated, else where the design wants it; those that are free have none."""
    above = domains_above(facts.get_estate())
    seated = {
        seat.member: name
        for seat in facts.seats or ()
        for kind, name in above.get(seat.host, ())
        if kind == _SITE
    }
    wanted = {member.name: member.site for member in facts.design.members if member.site}
    return wanted | seated
