"""Rules of trust.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "long-join-secret": [
        (
            lambda: facts_of(("join_secret_lifetime: 1 h", "join_secret_lifetime: 61 min")),
            (
                Finding(
                    rule="long-join-secret",
                    severity=Severity.NOTE,
                    what="join secrets live 1 h 1 min",
                    where="design.yaml:41:25",
                    why="whoever finds it in that time can let a machine of their own join; above a day this is a risk",
                    mend="write join_secret_lifetime: 1 h; secrets are issued when they are needed",
                    source="common practice, no source; NIST SP 800-63B-4 draft has 10 min for one-use secrets (from memory)",
                ),
            ),
        ),
        (
            lambda: facts_of(("join_secret_lifetime: 1 h", "join_secret_lifetime: 24 h")),
            (
                Finding(
                    rule="long-join-secret",
                    severity=Severity.NOTE,
                    what="join secrets live 1 d",
                    where="design.yaml:41:25",
                    why="whoever finds it in that time can let a machine of their own join; above a day this is a risk",
                    mend="write join_secret_lifetime: 1 h; secrets are issued when they are needed",
                    source="common practice, no source; NIST SP 800-63B-4 draft has 10 min for one-use secrets (from memory)",
                ),
            ),
        ),
        (
            lambda: facts_of(("join_secret_lifetime: 1 h", "join_secret_lifetime: 25 h")),
            (
                Finding(
                    rule="long-join-secret",
                    severity=Severity.RISK,
                    what="join secrets live 1 d 1 h",
                    where="design.yaml:41:25",
                    why="whoever finds it in that time can let a machine of their own join; above a day this is a risk",
                    mend="write join_secret_lifetime: 1 h; secrets are issued when they are needed",
                    source="common practice, no source; NIST SP 800-63B-4 draft has 10 min for one-use secrets (from memory)",
                ),
            ),
        ),
    ],
    "short-join-secret": [
        (
            lambda: facts_of(("join_secret_lifetime: 1 h", "join_secret_lifetime: 9 min")),
            (
                Finding(
                    rule="short-join-secret",
                    severity=Severity.NOTE,
                    what="join secrets live 9 min",
                    where="design.yaml:41:25",
                    why="a member that starts slowly finds its secret expired, and a new one must be issued",
                    mend="write join_secret_lifetime: 1 h",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "fingerprint-entered": [
        (
            lambda: facts_of(("fingerprint: console", "fingerprint: entered")),
            (
                Finding(
                    rule="fingerprint-entered",
                    severity=Severity.NOTE,
                    what="the expected fingerprint of each member is typed in",
                    where="design.yaml:40:16",
                    why="they count only if read from the member's own console before the wire's value is seen",
                    mend="read the console yourself, or take it from someone on the spot by voice; write console where the platform shows it",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "long-join-secret": [
        lambda: facts_of(),
    ],
    "short-join-secret": [
        lambda: facts_of(("join_secret_lifetime: 1 h", "join_secret_lifetime: 10 min")),
    ],
    "fingerprint-entered": [
        lambda: facts_of(),
    ],
}
