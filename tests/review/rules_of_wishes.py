"""Rules of wishes.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import L2, L3, facts_of, with_host, with_pool

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "kind-not-on-estate": [
        (
            lambda: facts_of(("[host, rack, pool]", "[host, rak, pool]"), ("any 1 rack", "any 1 feed")),
            (
                Finding(
                    rule="kind-not-on-estate",
                    severity=Severity.STOP,
                    what='"rak" in apart: the estate has no rak',
                    where="design.yaml:22:15",
                    why="its kinds are host, pool, site, rack",
                    mend='did you mean "rack"?',
                    source=PRACTICE,
                ),
                Finding(
                    rule="kind-not-on-estate",
                    severity=Severity.STOP,
                    what='"any 1 feed" in survive: the estate has no feed',
                    where="design.yaml:25:5",
                    why="its kinds are host, pool, site, rack",
                    mend="name the domains of this kind in the estate's tables, or remove the wish",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "name-not-on-estate": [
        (
            lambda: facts_of(
                (
                    L2,
                    "  - {name: levels-2, leads: second, site: Tolgate, host: tg-h1, keep_out: [fl-rack-1, fl-rack-9]}",
                ),
                ("snapshot_percent: 15", "snapshot_percent: 15\n  pools: [om-store-1, moor-store]"),
                ("any 1 rack", "'named: om-rack-1 + om-feed'"),
            ),
            (
                Finding(
                    rule="name-not-on-estate",
                    severity=Severity.STOP,
                    what='the estate has no site "Tolgate"',
                    where="design.yaml:20:43",
                    why="a wish about it cannot be met, or is met by nothing",
                    mend='did you mean "Tollgate"?',
                    source=PRACTICE,
                ),
                Finding(
                    rule="name-not-on-estate",
                    severity=Severity.STOP,
                    what='the estate has no host, pool or domain "fl-rack-9"',
                    where="design.yaml:20:87",
                    why="a wish about it cannot be met, or is met by nothing",
                    mend='did you mean "fl-rack-1" or "fl-rack-2"?',
                    source=PRACTICE,
                ),
                Finding(
                    rule="name-not-on-estate",
                    severity=Severity.STOP,
                    what='the estate has no pool "moor-store"',
                    where="design.yaml:29:23",
                    why="a wish about it cannot be met, or is met by nothing",
                    mend='did you mean "om-store-1" or "om-store-2"?',
                    source=PRACTICE,
                ),
                Finding(
                    rule="name-not-on-estate",
                    severity=Severity.STOP,
                    what='the estate has no host, pool or domain "om-feed"',
                    where="design.yaml:25:5",
                    why="a wish about it cannot be met, or is met by nothing",
                    mend="mend the name, or the estate's tables",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "survive-asks-too-much": [
        (
            lambda: facts_of(("any 1 rack", "any 2 hosts")),
            (
                Finding(
                    rule="survive-asks-too-much",
                    severity=Severity.STOP,
                    what='"any 2 hosts": of 3 votes over 6 hosts at least 2 can be lost at once',
                    where="design.yaml:25:5",
                    why="even spread as evenly as can be, the votes that are left are no majority",
                    mend="let more members vote, or ask for less",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of((L3, "  - {name: levels-3, votes: false}"), ("any 1 host", "any 3 sites")),
            (
                Finding(
                    rule="survive-asks-too-much",
                    severity=Severity.STOP,
                    what='"any 3 sites": of 2 votes over 3 sites at least 2 can be lost at once',
                    where="design.yaml:24:5",
                    why="even spread as evenly as can be, the votes that are left are no majority",
                    mend="let more members vote, or ask for less",
                    source=PRACTICE,
                ),
                Finding(
                    rule="survive-asks-too-much",
                    severity=Severity.STOP,
                    what='"any 1 rack": of 2 votes over 6 racks at least 1 can be lost at once',
                    where="design.yaml:25:5",
                    why="even spread as evenly as can be, the votes that are left are no majority",
                    mend="let more members vote, or ask for less",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "domain-not-surveyed": [
        (
            lambda: facts_of(estate=with_host("om-h2", domains=("Ousemoor",))),
            (
                Finding(
                    rule="domain-not-surveyed",
                    severity=Severity.RISK,
                    what="hosts without a rack: om-h2",
                    where="the estate's tables",
                    why="they are not held by the rules about this kind: it is not known with what they fail",
                    mend="find out and name it in the estate's tables; waive this where they are known to stand in none",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(estate=with_pool("tg-store-2", domains=("Tollgate",))),
            (
                Finding(
                    rule="domain-not-surveyed",
                    severity=Severity.RISK,
                    what="pools without a rack: tg-store-2",
                    where="the estate's tables",
                    why="they are not held by the rules about this kind: it is not known with what they fail",
                    mend="find out and name it in the estate's tables; waive this where they are known to stand in none",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "kind-not-on-estate": [
        lambda: facts_of(("any 1 rack", "any 1 site")),
    ],
    "name-not-on-estate": [
        lambda: facts_of(
            (
                L2,
                "  - {name: levels-2, leads: second, host: tg-h1, keep_out: [fl-rack-1, fl-store-2, om-h2]}",
            ),
            ("any 1 rack", "'named: om-rack-1 + tg-h1'"),
        ),
    ],
    "survive-asks-too-much": [
        lambda: facts_of(
            ("apart: [host", "  - {name: levels-4}\n  - {name: levels-5}\napart: [host"),
            ("any 1 rack", "any 2 hosts"),
        ),
        lambda: facts_of(("any 1 rack", "any 1 site")),
    ],
    "domain-not-surveyed": [
        # A kind that nothing on the estate stands in is told of by kind-not-on-estate.
        lambda: facts_of(("any 1 rack", "any 1 feed")),
        lambda: facts_of(
            ("[host, rack, pool]", "[host, pool]"),
            ("any 1 rack", "any 1 site"),
            estate=with_host("om-h2", domains=("Ousemoor",)),
        ),
    ],
}
