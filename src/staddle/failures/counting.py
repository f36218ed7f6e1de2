"""Proofs by counting that not all items find room, before any search. A bound that holds says nothing.

Counted over the hosts of each reach class and over all hosts: the items that may stand nowhere else against what those hosts
have left. Three bounds each for memory and for cores: the sums; for each size the number of items at least as large
against the number that each host can hold; and, with weights, the small beside the large.

Source: bound L2 of Martello & Toth, carried over to unequal hosts and to two resources.
"""

from collections.abc import Iterator

import numpy as np

from staddle.failures.arrays import Arrays, Ints
from staddle.failures.question import Question
from staddle.kernel import format_binary

__all__ = ["refute"]


def refute(question: Question) -> str | None:
    """Why not every item can restart, in one sentence; None where counting does not prove it."""
    for item in range(len(question)):
        if not len(question.takers(item)):
            return _homeless(question, item)
    for items, hosts, words in _sets(question):
        memory_bytes, cores = question.memory_bytes[items], question.cores[items].min(axis=1)
        left_bytes = np.maximum(question.left_bytes[hosts], 0)
        left_cores = np.maximum(question.left_cores[hosts], 0)
        who = f"{len(items)} to restart {words}"
        need, left = int(memory_bytes.sum()), int(left_bytes.sum())
        if need > left:
            return f"{who}, need {format_binary(need)}; {len(hosts)} hosts have {format_binary(left)} left"
        need, left = int(cores.sum()), int(left_cores.sum())
        if need > left:
            return f"{who}, need {need / 1000:g} cores by their limits; {len(hosts)} hosts have {left / 1000:g} left"
        for sizes, others, rooms, other_rooms, what in (
            (memory_bytes, cores, left_bytes, left_cores, "memory"),
            (cores, memory_bytes, left_cores, left_bytes, "cores"),
        ):
            counted = _count_refutes(sizes, others, rooms, other_rooms)
            if counted is not None:
                return f"{who}: {counted[0]} of them are so large in {what} that the hosts hold {counted[1]} of that size"
            if _weight_refutes(sizes, rooms):
                return f"{who}: by their sizes in {what}, small ones beside large ones, they do not fit"
    return None


def _homeless(question: Question, item: int) -> str:
    names = ", ".join(question.arrays.names[row] for row in question.items[item])
    if item in question.bars:
        return f"{names}: {question.bars[item]}"
    words = question.arrays.ground.class_words[int(question.reach[item])]
    hosts = question.hosts[item]
    standing = hosts[question.left_bytes[hosts] >= 0]
    if not len(standing):
        return f"{names}: no surviving host may take it (it needs {words})"
    return (
        f"{names}: none of the {len(standing)} surviving hosts that may take it (it needs {words}) has "
        f"{format_binary(int(question.memory_bytes[item]))} and {question.cores[item].min() / 1000:g} cores left"
    )


def _sets(question: Question) -> Iterator[tuple[Ints, Ints, str]]:
    """Items that may stand on some hosts only, those hosts, and what makes them so."""
    arrays = question.arrays
    classes = np.unique(question.reach)
    surviving = question.left_bytes >= 0
    for c in classes.tolist():
        hosts = arrays.ground.class_hosts[c]
        inside = [other for other in classes.tolist() if _within(arrays, other, c)]
        items = np.flatnonzero(np.isin(question.reach, inside))
        yield items, hosts[surviving[hosts]], f"on hosts with {arrays.ground.class_words[c]}"
    if len(classes) > 1:
        hosts = np.unique(np.concatenate([arrays.ground.class_hosts[c] for c in classes.tolist()]))
        yield np.arange(len(question)), hosts[surviving[hosts]], "in all"


def _within(arrays: Arrays, inner: int, outer: int) -> bool:
    if inner == outer:
        return True
    return bool(np.isin(arrays.ground.class_hosts[inner], arrays.ground.class_hosts[outer]).all())


def _count_refutes(sizes: Ints, others: Ints, rooms: Ints, other_rooms: Ints) -> tuple[int, int] | None:
    """(items, places) for a size of which there are more items than places, each with the least other need of them."""
    order = np.argsort(-sizes, kind="stable")
    least_other = np.minimum.accumulate(others[order])
    sizes = sizes[order]
    last = np.flatnonzero(np.append(sizes[1:] != sizes[:-1], True))  # the last item of each distinct size
    for at in last.tolist():
        if sizes[at] <= 0:
            break
        places = rooms // sizes[at]
        if least_other[at] > 0:
            places = np.minimum(places, other_rooms // least_other[at])
        if at + 1 > places.sum():
            return at + 1, int(places.sum())
    return None


def _weight_refutes(sizes: Ints, rooms: Ints) -> bool:
    """Whether for some a the items above R − a, weighing R, and those from a on, weighing themselves, exceed the rooms.

    R is the largest room. An item above R − a leaves less than a beside it, so that a host which can take one holds at
    most R of this weight, and any other at most its own room.
    """
    sizes = np.sort(sizes[sizes > 0])
    if not len(sizes):
        return False
    largest = int(rooms.max(initial=0))
    sums = np.concatenate(([0], np.cumsum(sizes)))
    rooms = np.sort(rooms)
    room_sums = np.concatenate(([0], np.cumsum(rooms)))
    for a in np.unique(sizes[2 * sizes <= largest]).tolist():
        first_big = int(np.searchsorted(sizes, largest - a, side="right"))
        first_counted = int(np.searchsorted(sizes, a))
        weight = (len(sizes) - first_big) * largest + int(sums[first_big] - sums[first_counted])
        if first_big == len(sizes):
            holds = int(room_sums[-1])
        else:
            small = int(np.searchsorted(rooms, sizes[first_big]))
            holds = int(room_sums[small]) + (len(rooms) - small) * largest
        if weight > holds:
            return True
    return False
