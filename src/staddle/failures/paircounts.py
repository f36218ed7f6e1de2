"""Counting for many pairs of failures at once: what two failures displace against what the hosts of each reach class have left.

Sums of memory and of cores, and for some sizes the number of machines at least as large against the places for them. Only
for pairs that share no host and fail no pool. What counting proves is counting.py's; this is the same over arrays.
"""

from collections.abc import Sequence
from typing import Final

import numpy as np

from staddle.failures.arrays import Arrays, Ints

__all__ = ["PairCounts"]

_MOST_SIZES: Final = 12
"""Sizes for which machines and places are counted, the largest ones (tried, no source)."""


class PairCounts:
    """For each scenario and reach class: what it displaces that may stand only there, and the room that it takes away.

    Each quantity is a column: for every reach class the bytes, the cores, and the number of machines of each size.
    """

    def __init__(self, arrays: Arrays, failing: Sequence[Sequence[int]]) -> None:
        ground = arrays.ground
        classes, hosts = len(ground.class_hosts), len(ground.stands)
        inside = np.zeros((classes, hosts), dtype=np.int64)
        for c, there in enumerate(ground.class_hosts):
            inside[c, there] = 1
        sizes = inside.sum(axis=1)
        # [a, b]: what is of class a may stand only where class b may.
        within = (inside @ inside.T == sizes[:, None]).astype(np.int64)
        least_cores = arrays.cores.min(axis=1) if len(arrays.cores) else np.zeros(0, dtype=np.int64)
        needs: list[Ints] = [arrays.memory_bytes, least_cores]
        rooms: list[Ints] = [arrays.left_bytes, arrays.left_cores]
        for size in np.unique(arrays.memory_bytes)[::-1][:_MOST_SIZES].tolist():
            large = arrays.memory_bytes >= size
            if size <= 0:
                continue
            places = arrays.left_bytes // size
            cores = int(least_cores[large].min())
            if cores > 0:
                places = np.minimum(places, arrays.left_cores // cores)
            needs.append(large.astype(np.int64))
            rooms.append(places)
        rows = [np.concatenate([arrays.rows_on[host] for host in one] or [_NO_ROWS]) for one in failing]
        self.needs: Final[Ints] = np.zeros((len(failing), classes * len(needs)), dtype=np.int64)
        self.gone: Final[Ints] = np.zeros_like(self.needs)
        self.rooms: Final[Ints] = np.concatenate([inside @ room for room in rooms])
        for number, (there, gone) in enumerate(zip(rows, failing, strict=True)):
            of_class = arrays.class_of[there]
            for column, (need, room) in enumerate(zip(needs, rooms, strict=True)):
                at = slice(column * classes, (column + 1) * classes)
                displaced = np.zeros(classes, dtype=np.int64)
                np.add.at(displaced, of_class, need[there])
                self.needs[number, at] = displaced @ within
                self.gone[number, at] = inside[:, gone] @ room[list(gone)]

    def refute(self, first: Ints, second: Ints) -> "np.typing.NDArray[np.bool_]":
        """For each pair of positions whether what it displaces cannot restart."""
        refuted = np.zeros(len(first), dtype=bool)
        for column in range(self.needs.shape[1]):
            need, gone = self.needs[:, column], self.gone[:, column]
            refuted |= (need[first] + need[second] > self.rooms[column] - gone[first] - gone[second]) & (
                need[first] + need[second] > 0
            )
        return refuted


_NO_ROWS: Final[Ints] = np.zeros(0, dtype=np.int64)
