"""Rules of licence.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of, sluicelog

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "licence-not-accepted": [
        (
            lambda: facts_of(
                ("  licence_accepted_by: the contracts office\n", ""),
                ("  licence_accepted_on: 2026-11-20\n", ""),
            ),
            (
                Finding(
                    rule="licence-not-accepted",
                    severity=Severity.STOP,
                    what="the licence is not accepted",
                    where="design.yaml:12:3",
                    why="it must be accepted before deployment, by someone who may do so",
                    mend="let that person read it, and write licence_accepted_by and licence_accepted_on",
                    source="DSP0243, EulaSection",
                ),
            ),
        ),
        (
            lambda: facts_of(("  licence_accepted_by: the contracts office\n", "")),
            (
                Finding(
                    rule="licence-not-accepted",
                    severity=Severity.STOP,
                    what="the licence is accepted by nobody",
                    where="design.yaml:12:3",
                    why="it must be accepted before deployment, by someone who may do so",
                    mend="let that person read it, and write licence_accepted_by and licence_accepted_on",
                    source="DSP0243, EulaSection",
                ),
            ),
        ),
        (
            lambda: facts_of(("  licence_accepted_on: 2026-11-20\n", "")),
            (
                Finding(
                    rule="licence-not-accepted",
                    severity=Severity.STOP,
                    what="the licence is accepted on no day",
                    where="design.yaml:16:24",
                    why="it must be accepted before deployment, by someone who may do so",
                    mend="let that person read it, and write licence_accepted_by and licence_accepted_on",
                    source="DSP0243, EulaSection",
                ),
            ),
        ),
    ],
    "licence-accepted-ahead": [
        (
            lambda: facts_of(("on: 2026-11-20", "on: 2026-11-26")),
            (
                Finding(
                    rule="licence-accepted-ahead",
                    severity=Severity.RISK,
                    what="accepted on 2026-11-26, today is 2026-11-25",
                    where="design.yaml:17:24",
                    why="nobody can have accepted it then; the record would be wrong",
                    mend="write the day on which it was accepted",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "licence-not-accepted": [
        lambda: facts_of(
            ("  licence_accepted_by: the contracts office\n", ""),
            ("  licence_accepted_on: 2026-11-20\n", ""),
            package=replace(sluicelog()[0], licences=()),
        ),
    ],
    "licence-accepted-ahead": [
        lambda: facts_of(("on: 2026-11-20", "on: 2026-11-25")),
    ],
}
