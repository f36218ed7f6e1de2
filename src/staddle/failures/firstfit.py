"""Items onto the first or the tightest host that takes them, one after the other. Finding none proves nothing."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from staddle.failures.arrays import NONE, Ints
from staddle.failures.question import Question

__all__ = ["first_fit", "in_order", "largest_first", "quick_fit"]


def first_fit(
    question: Question, sequence: Sequence[int], *, tightest: bool, start: int = 0, go_on: bool = False
) -> list[int] | None:
    """A host for each item, taking them in this sequence.

    Args: tightest: take the host that has least left afterwards, not the first one; start: the first host is looked for
        from this position on, and round; go_on: leave out items that find no host (NONE), and go on with the next.
    Returns: the host of each item in the order of the items; None where one found none and go_on is not set.
    """
    left_bytes, left_cores = question.left_bytes.copy(), question.left_cores.copy()
    rate_of, one_rate = question.rate_of, len(question.arrays.ground.rates) == 1
    memory_bytes, cores = question.memory_bytes.tolist(), question.cores
    at = [NONE] * len(question)
    taken: dict[int, list[int]] = {}
    weight = _weights(question)
    for item in sequence:
        hosts = question.hosts[item]
        need_cores = int(cores[item, 0]) if one_rate else cores[item][rate_of[hosts]]
        room_bytes, room_cores = left_bytes[hosts] - memory_bytes[item], left_cores[hosts] - need_cores
        fits = (room_bytes >= 0) & (room_cores >= 0)
        for group in question.apart[item]:
            if group in taken:
                fits &= ~np.isin(hosts, taken[group])
        if tightest:
            rest = np.where(fits, room_bytes * weight[0] + room_cores * weight[1], np.inf)
            place = int(rest.argmin()) if len(rest) else 0
        else:
            place = _first(fits, hosts, start)
        if not len(hosts) or not fits[place]:
            if not go_on:
                return None
            continue
        host = int(hosts[place])
        at[item] = host
        left_bytes[host] = room_bytes[place]
        left_cores[host] = room_cores[place]
        for group in question.apart[item]:
            taken.setdefault(group, []).append(host)
    return at


def _first(fits: "np.typing.NDArray[np.bool_]", hosts: Ints, start: int) -> int:
    if not len(fits):
        return 0
    turn = int(np.searchsorted(hosts, start)) if start else 0
    later = fits[turn:]
    place = int(later.argmax()) if len(later) else 0
    return place + turn if len(later) and later[place] else int(fits.argmax())


def _weights(question: Question) -> tuple[float, float]:
    """What makes bytes and thousandths of a core comparable: shares of all that is left."""
    return tuple(
        1.0 / max(1, int(np.maximum(left, 0).sum())) for left in (question.left_bytes, question.left_cores)
    )  # type: ignore[return-value]  # two of them


def in_order(question: Question) -> list[int]:
    """Those of a lower restart order first, of one order the larger first."""
    first = [min(question.arrays.restart_order[list(rows)].tolist()) for rows in question.items]
    return sorted(range(len(question)), key=lambda item: (first[item], -_share(question, item), item))


def largest_first(question: Question) -> list[int]:
    """Those with fewer hosts to choose from first, of as many hosts the larger first."""
    weight = _weights(question)
    share = question.memory_bytes * weight[0] + question.cores.max(axis=1) * weight[1]
    choice = np.array([len(hosts) for hosts in question.hosts])
    sequence: list[int] = np.lexsort((-share, choice)).tolist()
    return sequence


def _share(question: Question, item: int) -> float:
    weight = _weights(question)
    return float(question.memory_bytes[item] * weight[0] + question.cores[item].max() * weight[1])


_TRIES: Final = ("choice", "share", "memory", "cores")


def quick_fit(question: Question) -> list[int] | None:
    """A host for each item, by several sequences one after the other. None says nothing."""
    weight = _weights(question)
    share = question.memory_bytes * weight[0] + question.cores.max(axis=1) * weight[1]
    sequences = {
        "choice": largest_first(question),
        "share": np.argsort(-share, kind="stable").tolist(),
        "memory": np.argsort(-question.memory_bytes, kind="stable").tolist(),
        "cores": np.argsort(-question.cores.max(axis=1), kind="stable").tolist(),
    }
    tried: set[tuple[int, ...]] = set()
    for name in _TRIES:
        sequence = sequences[name]
        if tuple(sequence) in tried:
            continue
        tried.add(tuple(sequence))
        for tightest in (True, False):
            at = first_fit(question, sequence, tightest=tightest)
            if at is not None:
                return at
    return None
