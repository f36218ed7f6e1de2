"""How long every single and every double failure of hosts takes on a large estate, and how many stay undecided."""

import time
from pathlib import Path

from bench.large_estate import LargeEstate, large_estate
from bench.measure import Measure
from staddle.failures.pairs import PairTable, decide_pairs
from staddle.failures.restart import RestartTest
from staddle.failures.scenario import any_of
from staddle.failures.ways import Verdict
from staddle.placement.after import running_guests, stands_after

__all__ = ["TITLE", "measure"]

TITLE = "Failures of one host and of every two hosts"
_FILLS = (0.85, 0.95, 0.98)
_SINGLES_S = 2.0
_DOUBLES_S = 60.0  # of two processors; measured is the time of one


def measure(place: Path) -> tuple[Measure, ...]:
    """The restart test of all hosts alone, and of all pairs, at three fills; the bounds are those at 85 %."""
    figures = []
    for full in _FILLS:
        wanted = LargeEstate(full=full)
        estate = large_estate(wanted)
        test = RestartTest(running_guests(estate), stands_after(estate))
        scenarios = list(any_of(estate, count=1, kind="host"))
        begun = time.process_time()
        for one in scenarios:
            test.restart(one.hosts, one.pools)
        alone = time.process_time() - begun
        begun = time.process_time()
        table = decide_pairs(test, scenarios)
        pairs = time.process_time() - begun
        first = full == _FILLS[0]
        figures += [
            Measure(
                what=f"every host alone, {100 * full:g} % full",
                value=alone,
                unit="s",
                bound=_SINGLES_S if first else None,
                beside=f"{wanted.told()}; {_alone(table)}",
            ),
            Measure(
                what=f"every two hosts, {100 * full:g} % full",
                value=pairs,
                unit="s",
                bound=_DOUBLES_S if first else None,
                beside=_pairs(table),
            ),
        ]
    return tuple(figures)


def _alone(table: PairTable) -> str:
    return ", ".join(
        f"{sum(one.verdict is verdict for one in table.alone)} {word}" for verdict, word in _WORDS.items()
    )


def _pairs(table: PairTable) -> str:
    ends = ", ".join(f"{table.count(verdict)} {word}" for verdict, word in _WORDS.items())
    return f"{ends}; decided by " + ", ".join(f"{how} {count}" for how, count in table.decided)


_WORDS = {Verdict.RESTARTS: "restart", Verdict.CANNOT: "cannot", Verdict.UNDECIDED: "undecided"}
