"""From failures that were counted over some time to a rate, with the interval that so few of them allow.

Source: exact interval of a Poisson count; for no failure at one-sided 95 % the mean is at most 2.995732, "rule of three".
"""

import math
from typing import Final

__all__ = ["CONFIDENCE", "count_interval", "most_expected"]

CONFIDENCE: Final = 0.90
"""Two-sided: one in twenty lies below, one in twenty above."""


def count_interval(failures: int, units_years: float) -> tuple[float, float]:
    """The failures a year of one unit, low to high. Args: units_years: years, times the units that were watched."""
    tail = (1 - CONFIDENCE) / 2
    low = 0.0 if failures == 0 else _mean_at(failures - 1, 1 - tail)
    return low / units_years, most_expected(failures, 1 - tail) / units_years


def most_expected(failures: int, confidence: float) -> float:
    """The largest mean count under which so few failures are no surprise. Args: confidence: one-sided.

    Example: most_expected(0, 0.95) is 2.995732: no failure in T hours shows an MTBF of T / 2.995732 at 95 %.
    """
    return _mean_at(failures, 1 - confidence)


def _mean_at(count: int, chance: float) -> float:
    """The mean at which ``count`` or fewer are seen with that chance, by halving."""
    low, high = 0.0, 10.0 + 4 * count + 10 * math.sqrt(count)
    while high - low > 1e-13 * high:
        middle = (low + high) / 2
        if _chance_of_at_most(count, middle) > chance:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _chance_of_at_most(count: int, mean: float) -> float:
    if not mean:
        return 1.0
    return math.fsum(math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(count + 1))
