"""Rules about time on the members."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Final

from staddle.kernel import Severity
from staddle.review.facts import Facts
from staddle.review.rule import Found, rule

_FEWEST_SERVERS: Final = 4
_MOST_OFFSET: Final = timedelta(milliseconds=500)
_UTC: Final = ("UTC", "Etc/UTC", "Etc/UCT", "Etc/Universal", "Etc/Zulu", "UCT", "Universal", "Zulu")


@rule(
    name="few-time-servers",
    severity=Severity.RISK,
    title=f"Members ask fewer than {_FEWEST_SERVERS} time servers",
    reason="with three servers one may be false, with none of them down; four allow for both",
    mend="name four servers that do not hang on one another, the same for all members",
    source="RFC 8633 §3.2 (from memory)",
)
def few_time_servers(facts: Facts) -> Iterator[Found]:
    count = len(facts.design.clock.servers)
    if count >= _FEWEST_SERVERS:
        return
    whys = {
        0: "without a server each member keeps its own time, and they drift apart",
        1: "nothing shows that a single server is false",
        2: "two is the worst number: when they differ, nobody can tell which is right",
    }
    counted = "1 time server is" if count == 1 else f"{count or 'no'} time servers are"
    yield Found(what=f"{counted} named", where=facts.at("clock.servers"), why=whys.get(count, ""))


@rule(
    name="zone-not-utc",
    severity=Severity.NOTE,
    title="Members do not live in UTC",
    reason="records of several members and sites are hard to compare, and an hour repeats or is missing twice a year",
    mend="write zone: UTC unless the maker says otherwise; people are shown local time",
)
def zone_not_utc(facts: Facts) -> Iterator[Found]:
    zone = facts.design.clock.zone
    if zone not in _UTC:
        yield Found(what=f"the members' time zone is {zone}", where=facts.at("clock.zone"))


@rule(
    name="wide-clock-offset",
    severity=Severity.RISK,
    title="The proof accepts a large clock offset",
    reason="the order of events is lost, leases and tickets end too early or too late",
    mend="write most_offset: 100 ms, or what the maker allows",
    source="common practice, no source; NTP steps above 128 ms (RFC 5905, from memory)",
)
def wide_clock_offset(facts: Facts) -> Iterator[Found]:
    most = facts.design.clock.most_offset_span
    if most > _MOST_OFFSET:
        yield Found(
            what=f"offsets up to {facts.design.clock.most_offset} are accepted",
            where=facts.at("clock.most_offset"),
        )
