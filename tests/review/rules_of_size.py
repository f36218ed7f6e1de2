"""Rules of size.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from tests.review.ousemoor import facts_of, sluicelog

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "size-not-chosen": [
        (
            lambda: facts_of(("  size: river\n", "")),
            (
                Finding(
                    rule="size-not-chosen",
                    severity=Severity.NOTE,
                    what="package.size is empty: river is taken of brook, river, estuary",
                    where="design.yaml:12:3",
                    why="nobody has decided that this size carries the load, and another edition may have another default",
                    mend="write the size into package.size",
                    source="DSP0243, DeploymentOptionSection",
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "size-not-chosen": [
        lambda: facts_of(),
        # A package with one size leaves nothing to choose.
        lambda: facts_of(
            ("  size: river\n", ""), package=replace(sluicelog()[0], sizes=sluicelog()[0].sizes[1:2])
        ),
    ],
}
