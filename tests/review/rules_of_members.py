"""Rules of members.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "even-votes": [
        (
            lambda: facts_of(
                ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, site: Lode, votes: false}")
            ),
            (
                Finding(
                    rule="even-votes",
                    severity=Severity.RISK,
                    what="2 members vote",
                    where="design.yaml:19:3",
                    why="an even number outlives no more failures than one vote less, and can fall into two equal halves",
                    mend="add a member that votes and holds no data, or write votes: false for one",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "no-vote-to-lose": [
        (
            lambda: facts_of(
                ("  - {name: levels-2, leads: second, site: Tollgate}", "  - {name: levels-2, votes: false}"),
                ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, votes: false}"),
            ),
            (
                Finding(
                    rule="no-vote-to-lose",
                    severity=Severity.RISK,
                    what="only 1 member votes",
                    where="design.yaml:19:3",
                    why="after the loss of one of them the rest is no majority, and the cluster stops",
                    mend="let three members vote; the third may be one that holds no data",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(
                ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, site: Lode, votes: false}")
            ),
            (
                Finding(
                    rule="no-vote-to-lose",
                    severity=Severity.RISK,
                    what="only 2 members vote",
                    where="design.yaml:19:3",
                    why="after the loss of one of them the rest is no majority, and the cluster stops",
                    mend="let three members vote; the third may be one that holds no data",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "single-copy": [
        (
            lambda: facts_of(
                ("  - {name: levels-2, leads: second, site: Tollgate}", "  - {name: levels-2, data: false}"),
                ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, data: false}"),
            ),
            (
                Finding(
                    rule="single-copy",
                    severity=Severity.RISK,
                    what="only levels-1 holds data",
                    where="design.yaml:19:3",
                    why="there is no second copy: what is lost with this member is lost",
                    mend="let three members hold data; two where another one votes without data",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "two-copies": [
        (
            lambda: facts_of(
                ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, site: Lode, data: false}")
            ),
            (
                Finding(
                    rule="two-copies",
                    severity=Severity.NOTE,
                    what="only levels-1 and levels-2 hold data",
                    where="design.yaml:19:3",
                    why="while one of them is lost or maintained there is a single copy, and nothing to compare it with",
                    mend="let three members hold data where the data must outlive a failure within a repair",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "many-votes": [
        (
            lambda: facts_of(
                (
                    "apart: [host",
                    "  - {name: levels-4}\n  - {name: levels-5}\n  - {name: levels-6}\n  - {name: levels-7}\napart: [host",
                )
            ),
            (
                Finding(
                    rule="many-votes",
                    severity=Severity.NOTE,
                    what="7 members vote",
                    where="design.yaml:19:3",
                    why="each decision waits for more members, and the gain over five votes rarely pays",
                    mend="let five members vote and write votes: false for the others, if the appliance can do that",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "no-deputy": [
        (
            lambda: facts_of(
                (
                    "  - {name: levels-2, leads: second, site: Tollgate}",
                    "  - {name: levels-2, site: Tollgate, leads: never}",
                )
            ),
            (
                Finding(
                    rule="no-deputy",
                    severity=Severity.RISK,
                    what="none of the 3 members leads second",
                    where="design.yaml:19:3",
                    why="nobody has decided who leads after the first leader is lost, or whether that one stands well apart",
                    mend="write leads: second for one member that holds data",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "leader-without-data": [
        (
            lambda: facts_of(
                (
                    "  - {name: levels-2, leads: second, site: Tollgate}",
                    "  - {name: levels-2, site: Tollgate, leads: second, data: false}",
                )
            ),
            (
                Finding(
                    rule="leader-without-data",
                    severity=Severity.RISK,
                    what="levels-2 leads second and holds no data",
                    where="design.yaml:20:45",
                    why="who leads without the data or without a vote cannot serve or decide when it counts",
                    mend="let a member lead that holds data and votes",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(
                (
                    "  - {name: levels-2, leads: second, site: Tollgate}",
                    "  - {name: levels-2, site: Tollgate, leads: second, data: false, votes: false}",
                )
            ),
            (
                Finding(
                    rule="leader-without-data",
                    severity=Severity.RISK,
                    what="levels-2 leads second and holds no data and has no vote",
                    where="design.yaml:20:45",
                    why="who leads without the data or without a vote cannot serve or decide when it counts",
                    mend="let a member lead that holds data and votes",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "even-votes": [
        lambda: facts_of(
            ("  - {name: levels-2, leads: second, site: Tollgate}", "  - {name: levels-2, votes: false}"),
            ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, votes: false}"),
        ),
    ],
    "no-vote-to-lose": [
        lambda: facts_of(),
    ],
    "single-copy": [
        lambda: facts_of(
            ("  - {name: levels-3, site: Lode}", "  - {name: levels-3, site: Lode, data: false}")
        ),
    ],
    "two-copies": [
        lambda: facts_of(),
    ],
    "many-votes": [
        lambda: facts_of(
            ("apart: [host", "  - {name: levels-4}\n  - {name: levels-5}\n  - {name: levels-6}\napart: [host")
        ),
    ],
    "no-deputy": [
        lambda: facts_of(
            ("  - {name: levels-2, leads: second, site: Tollgate}" + "\n", ""),
            ("  - {name: levels-3, site: Lode}" + "\n", ""),
        ),
    ],
    "leader-without-data": [
        lambda: facts_of(
            (
                "  - {name: levels-3, site: Lode}",
                "  - {name: levels-3, site: Lode, data: false, votes: false}",
            )
        ),
    ],
}
