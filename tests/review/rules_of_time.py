"""Rules of time.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "few-time-servers": [
        (
            lambda: facts_of(("servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]", "servers: []")),
            (
                Finding(
                    rule="few-time-servers",
                    severity=Severity.RISK,
                    what="no time servers are named",
                    where="design.yaml:37:12",
                    why="without a server each member keeps its own time, and they drift apart",
                    mend="name four servers that do not hang on one another, the same for all members",
                    source="RFC 8633 §3.2 (from memory)",
                ),
            ),
        ),
        (
            lambda: facts_of(
                ("servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]", "servers: [192.0.2.4]")
            ),
            (
                Finding(
                    rule="few-time-servers",
                    severity=Severity.RISK,
                    what="1 time server is named",
                    where="design.yaml:37:12",
                    why="nothing shows that a single server is false",
                    mend="name four servers that do not hang on one another, the same for all members",
                    source="RFC 8633 §3.2 (from memory)",
                ),
            ),
        ),
        (
            lambda: facts_of(
                ("servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]", "servers: [192.0.2.4, 192.0.2.5]")
            ),
            (
                Finding(
                    rule="few-time-servers",
                    severity=Severity.RISK,
                    what="2 time servers are named",
                    where="design.yaml:37:12",
                    why="two is the worst number: when they differ, nobody can tell which is right",
                    mend="name four servers that do not hang on one another, the same for all members",
                    source="RFC 8633 §3.2 (from memory)",
                ),
            ),
        ),
        (
            lambda: facts_of(
                (
                    "servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]",
                    "servers: [192.0.2.4, 192.0.2.5, 192.0.2.6]",
                )
            ),
            (
                Finding(
                    rule="few-time-servers",
                    severity=Severity.RISK,
                    what="3 time servers are named",
                    where="design.yaml:37:12",
                    why="with three servers one may be false, with none of them down; four allow for both",
                    mend="name four servers that do not hang on one another, the same for all members",
                    source="RFC 8633 §3.2 (from memory)",
                ),
            ),
        ),
    ],
    "zone-not-utc": [
        (
            lambda: facts_of(("zone: UTC", "zone: Europe/London")),
            (
                Finding(
                    rule="zone-not-utc",
                    severity=Severity.NOTE,
                    what="the members' time zone is Europe/London",
                    where="design.yaml:36:9",
                    why="records of several members and sites are hard to compare, and an hour repeats or is missing twice a year",
                    mend="write zone: UTC unless the maker says otherwise; people are shown local time",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "wide-clock-offset": [
        (
            lambda: facts_of(("most_offset: 100 ms", "most_offset: 501 ms")),
            (
                Finding(
                    rule="wide-clock-offset",
                    severity=Severity.RISK,
                    what="offsets up to 501 ms are accepted",
                    where="design.yaml:38:16",
                    why="the order of events is lost, leases and tickets end too early or too late",
                    mend="write most_offset: 100 ms, or what the maker allows",
                    source="common practice, no source; NTP steps above 128 ms (RFC 5905, from memory)",
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "few-time-servers": [
        lambda: facts_of(),
    ],
    "zone-not-utc": [
        lambda: facts_of(("zone: UTC", "zone: Etc/UTC")),
    ],
    "wide-clock-offset": [
        lambda: facts_of(("most_offset: 100 ms", "most_offset: 500 ms")),
    ],
}
