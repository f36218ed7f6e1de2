"""Rules of enough.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import ESTATE, L2, L3, facts_of

__all__ = ["FIRES", "QUIET"]


def crowded(what: str, where: str) -> Finding:
    return Finding(
        rule="too-few-to-keep-apart",
        severity=Severity.STOP,
        what=what,
        where=where,
        why="no two members may share one, so no placement exists, however much room there is",
        mend="name more of them in the estate's tables, ask for fewer members, take the kind out of apart, or loosen site and pin",
        source=PRACTICE,
    )


AT_OUSEMOOR: Final = (
    (L2, "  - {name: levels-2, leads: second, site: Ousemoor}"),
    (L3, "  - {name: levels-3, site: Ousemoor}"),
)
ALL: Final = "levels-1, levels-2 and levels-3"

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "too-few-to-keep-apart": [
        (
            lambda: facts_of(*AT_OUSEMOOR),
            tuple(
                crowded(
                    f"3 members must be apart by {kind} ({ALL}), and 2 {kind}s can take them: {names}",
                    f"design.yaml:22:{column}",
                )
                for kind, names, column in (
                    ("host", "om-h1, om-h2", 9),
                    ("rack", "om-rack-1, om-rack-2", 15),
                    ("pool", "om-store-1, om-store-2", 21),
                )
            ),
        ),
        (
            lambda: facts_of(
                ("  snapshot_percent: 15", "  snapshot_percent: 15\n  pools: [om-store-1, tg-store-1]"),
                (L3, "  - {name: levels-3, site: Ousemoor}"),
            ),
            (
                crowded(
                    "2 members must be apart by pool (levels-1 and levels-3), and 1 pool can take them: om-store-1",
                    "design.yaml:22:21",
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "too-few-to-keep-apart": [
        facts_of,
        lambda: facts_of((L2, "  - {name: levels-2, leads: second, site: Ousemoor}")),
        # A host that stands in no rack is held by no rule about racks.
        lambda: facts_of(
            ("apart: [host, rack, pool]", "apart: [rack]"),
            *AT_OUSEMOOR,
            estate=replace(
                ESTATE,
                hosts=(
                    *ESTATE.hosts,
                    replace(ESTATE.hosts[0], name="om-h9", domains=("Ousemoor",)),
                ),
            ),
        ),
        # A site that is not there is told by the rule about names.
        lambda: facts_of((L3, "  - {name: levels-3, site: Losemoor}")),
    ],
}
