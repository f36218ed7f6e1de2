"""Rules of apart.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import L3, SEATS, facts_of, seat, with_host

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "members-share-host": [
        (
            lambda: facts_of(seats=(SEATS[0], seat("levels-2", "om"), SEATS[2])),
            (
                Finding(
                    rule="members-share-host",
                    severity=Severity.STOP,
                    what="levels-1 and levels-2 share host om-h1",
                    where="host om-h1",
                    why="one failed host takes more than one member at a time",
                    mend="place them again with apart: [host], and set the rule on the platform too",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "members-share-rack": [
        (
            lambda: facts_of(
                seats=(SEATS[0], seat("levels-2", "om", 2), SEATS[2]),
                estate=with_host("om-h2", domains=("om-rack-1",)),
            ),
            (
                Finding(
                    rule="members-share-rack",
                    severity=Severity.RISK,
                    what="levels-1 and levels-2 share rack om-rack-1",
                    where="rack om-rack-1",
                    why="what fails with the rack (its feeds, its switches, water from above) takes more than one member",
                    mend="add rack to apart and place them again; name more hosts if there are too few racks",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "members-share-pool": [
        (
            lambda: facts_of(
                seats=(SEATS[0], replace(seat("levels-2", "om", 2), disks=SEATS[0].disks), SEATS[2])
            ),
            (
                Finding(
                    rule="members-share-pool",
                    severity=Severity.RISK,
                    what="levels-1 and levels-2 share pool om-store-1",
                    where="pool om-store-1",
                    why="a pool that fails or fills takes the copies of more than one member",
                    mend="add pool to apart and place them again",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "deputy-beside-leader": [
        (
            lambda: facts_of(
                seats=(SEATS[0], replace(seat("levels-2", "om", 2), disks=SEATS[0].disks), SEATS[2])
            ),
            (
                Finding(
                    rule="deputy-beside-leader",
                    severity=Severity.RISK,
                    what="the deputy levels-2 shares rack om-rack-1 and pool om-store-1 with the leader levels-1",
                    where="levels-2",
                    why="what takes the leader takes the one that should follow it",
                    mend="let another member lead second, or place the two again",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "domain-holds-half": [
        (
            lambda: facts_of(seats=(SEATS[0], seat("levels-2", "om"), SEATS[2])),
            (
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.STOP,
                    what="host om-h1 holds 2 of 3 votes",
                    where="host om-h1",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.STOP,
                    what="rack om-rack-1 holds 2 of 3 votes",
                    where="rack om-rack-1",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.NOTE,
                    what="site Ousemoor holds 2 of 3 votes",
                    where="site Ousemoor",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.RISK,
                    what="pool om-store-1 holds 2 of 3 votes",
                    where="pool om-store-1",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(
                ("  - any 1 host\n  - any 1 rack\n", "  - any 1 site\n"),
                seats=(SEATS[0], replace(seat("levels-2", "om", 2), disks=SEATS[0].disks), SEATS[2]),
            ),
            (
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.RISK,
                    what="rack om-rack-1 holds 2 of 3 votes",
                    where="rack om-rack-1",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.STOP,
                    what="site Ousemoor holds 2 of 3 votes",
                    where="site Ousemoor",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
                Finding(
                    rule="domain-holds-half",
                    severity=Severity.RISK,
                    what="pool om-store-1 holds 2 of 3 votes",
                    where="pool om-store-1",
                    why="the rest is no majority: when this domain fails, the cluster stops",
                    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "members-share-host": [
        lambda: facts_of(seats=(SEATS[0], seat("levels-2", "om", 2), SEATS[2])),
    ],
    "members-share-rack": [
        lambda: facts_of(seats=(SEATS[0], seat("levels-2", "om", 2), SEATS[2])),
    ],
    "members-share-pool": [
        lambda: facts_of(seats=(SEATS[0], seat("levels-2", "om", 2), SEATS[2])),
    ],
    "deputy-beside-leader": [
        lambda: facts_of(seats=(SEATS[0], seat("levels-2", "om", 2), SEATS[2])),
        lambda: facts_of(seats=(SEATS[0], SEATS[1], seat("levels-3", "om"))),
    ],
    "domain-holds-half": [
        lambda: facts_of(
            ("apart: [host", "  - {name: levels-4}\n  - {name: levels-5}\napart: [host"),
            seats=(*SEATS, seat("levels-4", "om"), seat("levels-5", "tg")),
        ),
        lambda: facts_of(
            (L3, "  - {name: levels-3, votes: false}"), seats=(SEATS[0], seat("levels-2", "om"), SEATS[2])
        ),
    ],
}
