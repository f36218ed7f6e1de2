"""Like units as chains of states: repair by few or many, cold standby, time to the first loss, the way to the steady state.

Rates are exponential here, as chains need it. The model of a cluster does not (parts.py): these check it and each other.

Source: Trivedi, Probability and Statistics with Reliability, Queuing and Computer Science Applications (from memory);
birth-death balance.
"""

import math
from collections.abc import Sequence

__all__ = [
    "birth_death",
    "cold_standby_reliability",
    "cold_unavailability",
    "hot_unavailability",
    "mean_time_to_absorption",
    "mttf_k_of_n",
    "two_state_availability",
]


def birth_death(up: Sequence[float], down: Sequence[float]) -> tuple[float, ...]:
    """The steady state of a chain 0 … n. Args: up: rates from i to i+1; down: rates from i+1 to i, all above 0."""
    weights = [1.0]
    for birth, death in zip(up, down, strict=True):
        weights.append(weights[-1] * birth / death)
    whole = math.fsum(weights)
    return tuple(weight / whole for weight in weights)


def hot_unavailability(units: int, failures_per_h: float, repairs_per_h: float, *, repairers: int) -> float:
    """The share of time in which all of some units that run in parallel are down."""
    failing = [(units - down) * failures_per_h for down in range(units)]
    mending = [min(down + 1, repairers) * repairs_per_h for down in range(units)]
    return birth_death(failing, mending)[-1]


def cold_unavailability(units: int, failures_per_h: float, repairs_per_h: float, *, repairers: int) -> float:
    """The share of time in which none is left of some units of which one runs and the others cannot fail meanwhile."""
    mending = [min(down + 1, repairers) * repairs_per_h for down in range(units)]
    return birth_death([failures_per_h] * units, mending)[-1]


def mean_time_to_absorption(up: Sequence[float], down: Sequence[float]) -> float:
    """The mean time from state 0 to the last one of a chain that never leaves it.

    Args: up: rates from i to i+1, above 0; down: rates from i+1 to i for all but the last state.
    """
    whole = reached = 0.0
    for number, birth in enumerate(up):
        back = down[number - 1] if number else 0.0
        reached = (1 + back * reached) / birth  # the mean time from this state to the next
        whole += reached
    return whole


def mttf_k_of_n(k: int, n: int, failures_per_h: float) -> float:
    """The mean time in hours until fewer than k of n units are left that nobody mends: Σ 1/(iλ), i = k … n."""
    return math.fsum(1 / (left * failures_per_h) for left in range(k, n + 1))


def cold_standby_reliability(units: int, mean_failures: float) -> float:
    """The chance that one of some units is left, of which one runs at a time. Args: mean_failures: λt."""
    return math.exp(-mean_failures) * math.fsum(mean_failures**i / math.factorial(i) for i in range(units))


def two_state_availability(failures_per_h: float, repairs_per_h: float, hours: float) -> float:
    """The chance that a unit that is up at 0 is up after some hours."""
    both = failures_per_h + repairs_per_h
    return (repairs_per_h + failures_per_h * math.exp(-both * hours)) / both
