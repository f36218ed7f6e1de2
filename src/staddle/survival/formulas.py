"""Availability in closed form: series, parallel, k of n with unequal members, repair, take-overs, common cause.

The model (parts.py, exact.py) is built on these, and its tests compare it with them. Not here: chains of states
(markov.py), proof tests (prooftest.py).

Sources: NIST/SEMATECH e-Handbook of Statistical Methods ch. 8.1.8; Trivedi, Probability and Statistics with
Reliability, Queuing and Computer Science Applications (clauses from memory).
"""

import math
from collections.abc import Sequence
from typing import Final

__all__ = [
    "HOURS_A_YEAR",
    "failover_share",
    "k_of_n",
    "minutes_down",
    "pair_with_common_cause",
    "parallel",
    "series",
    "share_down",
    "steady_state",
]

HOURS_A_YEAR: Final = 8760.0
"""A year of 365 days."""


def series(shares: Sequence[float]) -> float:
    """The share of time in which all of them are up. Example: series([0.2, 0.3, 0.4]) is 0.024"""
    return math.prod(shares)


def parallel(shares: Sequence[float]) -> float:
    """The share of time in which at least one of them is up. Example: parallel([0.2, 0.3, 0.4]) is 0.664"""
    return 1 - math.prod(1 - share for share in shares)


def k_of_n(k: int, shares: Sequence[float]) -> float:
    """The share of time in which at least k of them are up, which need not be equal. k 0 is always met."""
    counts = [1.0] + [0.0] * k  # counts[j]: j are up, the last entry k or more
    for share in shares:
        for up in range(k, 0, -1):
            stays = counts[up] if up == k else counts[up] * (1 - share)
            counts[up] = stays + counts[up - 1] * share
        if k:
            counts[0] *= 1 - share
    return counts[k]


def steady_state(mtbf_h: float, mttr_h: float) -> float:
    """The share of time in which a unit is up that runs ``mtbf_h`` on average and then takes ``mttr_h`` to mend.

    It depends on the two means only, not on how the spans are distributed.
    """
    return mtbf_h / (mtbf_h + mttr_h)


def share_down(failures_per_h: float, down_h: float) -> float:
    """The share of time in which a unit is down: 1 − steady_state, without the loss of digits near 1."""
    return failures_per_h * down_h / (1 + failures_per_h * down_h)


def minutes_down(share: float, *, days: float = 365) -> float:
    """Minutes in a year for a share of time that is spent down."""
    return share * days * 24 * 60


def failover_share(nodes: int, failovers_per_year: float, span_s: float) -> float:
    """The share of time that is lost to take-overs of ``span_s`` each, of which every node causes some a year."""
    return nodes * failovers_per_year * span_s / (HOURS_A_YEAR * 3600)


def pair_with_common_cause(failures_per_h: float, hours: float, beta: float) -> float:
    """The chance that one of two like units runs through without repair, a share ``beta`` of failures taking both.

    Source: beta-factor model, [1 − (1 − e^{−(1−β)λt})²]·e^{−βλt}.
    """
    alone = -math.expm1(-(1 - beta) * failures_per_h * hours)
    return (1 - alone**2) * math.exp(-beta * failures_per_h * hours)
