"""The share of time in which a cluster does not serve, by living through many years of it; with a confidence interval.

Every part runs, fails and passes through its stages; the spans are exponential, though only their means matter for the
share. Each batch of years begins in the steady state. Used where a cluster is too large for exact.py, and to check it.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from staddle.survival.cluster import Cluster
from staddle.survival.formulas import HOURS_A_YEAR
from staddle.survival.parts import Part

if TYPE_CHECKING:
    import numpy as np

__all__ = ["BATCHES", "Simulated", "simulated_share"]

BATCHES: Final = 40
_SURE_95: Final = 2.0227  # Student's t for 39 degrees of freedom, 97.5 % (from memory; checked in the tests)
_MOST_MARKS: Final = 12_000_000  # failures and repairs, times the members that are looked at after each
_MARKS_AT_A_TIME: Final = 2_000_000
_NONE_SEEN_95: Final = 3.0  # "rule of three": with no event seen, 3 could have been expected at 95 %


@dataclass(frozen=True, slots=True, kw_only=True)
class Simulated:
    """The mean share, its standard error, and the ends of its 95 % interval. ``years`` were lived through."""

    share: float
    standard_error: float
    low: float
    high: float
    years: float


def simulated_share(
    cluster: Cluster, parts: Sequence[Part], *, start: bytes, most_events: int | None = None
) -> Simulated:
    """The share of time in which the cluster does not serve.

    Args: start: any bytes; the same give the same answer. most_events: failures and repairs that are lived
        through; None: as many as take some seconds.
    """
    import numpy as np  # a tenth of a second, and only this needs it

    per_hour = sum(2 * part.failures_per_h for part in parts)
    if not per_hour:
        return Simulated(share=0.0, standard_error=0.0, low=0.0, high=0.0, years=0.0)
    draw = np.random.default_rng(int.from_bytes(start, "big"))
    looked_at = len(cluster.members) + len(cluster.leading_order())
    events = most_events or _MOST_MARKS // looked_at
    batch_h = events / per_hour / BATCHES
    runs = math.ceil(events * looked_at / BATCHES / _MARKS_AT_A_TIME)
    lost = [
        sum(_lost_h(cluster, parts, batch_h / runs, draw) for _ in range(runs)) / batch_h
        for _ in range(BATCHES)
    ]
    share = math.fsum(lost) / BATCHES
    error = math.sqrt(math.fsum((one - share) ** 2 for one in lost) / (BATCHES - 1) / BATCHES)
    high = share + _SURE_95 * error
    if not any(lost):
        longest_h = max(stage.until_h for part in parts for stage in part.stages)
        high = min(1.0, _NONE_SEEN_95 * longest_h / (batch_h * BATCHES))
    return Simulated(
        share=share,
        standard_error=error,
        low=max(0.0, share - _SURE_95 * error),
        high=high,
        years=batch_h * BATCHES / HOURS_A_YEAR,
    )


def _lost_h(cluster: Cluster, parts: Sequence[Part], hours: float, draw: "np.random.Generator") -> float:
    """The hours out of so many in which the cluster did not serve."""
    import numpy as np

    order = cluster.leading_order()
    at: list[Any] = [np.zeros(1)]
    # What changes at each instant: members down, then leaders without a successor, counted up and down.
    changes: list[Any] = [np.zeros((1, len(cluster.members) + len(order)), np.int16)]
    for part in parts:
        times, steps = _life(part, hours, draw)
        marks = np.zeros((len(part.stages) + 1, len(cluster.members) + len(order)), np.int16)
        for number, stage in enumerate(part.stages):
            marks[number + 1, sorted(stage.down)] = 1
            if stage.leaderless:
                marks[
                    number + 1, [len(cluster.members) + i for i, who in enumerate(order) if who in stage.down]
                ] = 1
        at.append(times)
        states = marks[steps]
        states[1:] -= marks[steps[:-1]]
        changes.append(states)
    instants = np.concatenate(at)
    sequence = np.argsort(instants, kind="stable")
    instants = instants[sequence]
    marked = np.cumsum(np.concatenate(changes)[sequence], axis=0, dtype=np.int16) > 0
    spans = np.diff(instants, append=hours)
    return float(spans[~_serving(cluster, marked)].sum())


def _life(part: Part, hours: float, draw: "np.random.Generator") -> tuple[Any, Any]:
    """When a part changes, beginning at 0, and into which state: 0 up, then its stages from 1."""
    import numpy as np

    shares = part.shares()
    up_h = 1 / part.failures_per_h
    cycle_h = up_h / (1 - sum(shares))
    means = np.array([up_h, *(share * cycle_h for share in shares)])
    first = int(draw.choice(len(means), p=[1 - sum(shares), *shares]))
    expected = hours / cycle_h
    cycles = int(expected + 8 * math.sqrt(expected) + 20)
    while True:
        states = (first + np.arange(cycles * len(means))) % len(means)
        ends = np.cumsum(draw.exponential(means[states]))
        if ends[-1] >= hours:
            break
        cycles *= 2
    begun = np.concatenate([[0.0], ends[:-1]])
    inside = begun < hours
    return begun[inside], states[inside]


def _serving(cluster: Cluster, marked: Any) -> Any:  # noqa: ANN401  arrays, known at run time only
    """Whether the cluster serves, for each instant."""
    import numpy as np

    order = cluster.leading_order()
    up = ~marked[:, : len(cluster.members)]
    serving = up[:, [one.data for one in cluster.members]].sum(axis=1) >= cluster.data_needed
    serving &= up[:, [one.votes for one in cluster.members]].sum(axis=1) >= cluster.votes_needed
    if order:
        led = np.zeros(len(up), bool)
        waits = np.zeros(len(up), bool)
        for place, member in enumerate(order):
            waits |= ~led & marked[:, len(cluster.members) + place]
            led |= up[:, member]
        serving &= led & ~waits
    return serving
