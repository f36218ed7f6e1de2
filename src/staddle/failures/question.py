"""What one scenario asks: which machines must restart, on which hosts each may, and what those have left.

An **item** is what restarts as one: a machine, or the displaced machines of one keep-together group. A machine with a disk
in a failed pool is lost and not displaced. Where its host survives, what it held there is not counted as free: a machine
that hangs without its disk still holds its memory.
"""

from collections.abc import Sequence, Set
from typing import Final

import numpy as np

from staddle.failures.arrays import NONE, Arrays, Ints

__all__ = ["Question", "displaced_rows"]

TAKES_NOTHING: Final = -1
"""What a failed host has left: not even a machine of no size restarts there."""


def displaced_rows(arrays: Arrays, failed_hosts: Sequence[int], failed_pools: Set[str]) -> tuple[Ints, Ints]:
    """(displaced, lost) as rows. Lost are all with a disk in a failed pool, wherever they stand."""
    there = [arrays.rows_on[host] for host in failed_hosts]
    displaced = np.concatenate(there) if there else np.zeros(0, dtype=np.int64)
    lost = np.zeros(0, dtype=np.int64)
    if failed_pools:
        failing = [c for c, pools in enumerate(arrays.ground.class_pools) if pools & failed_pools]
        lost = np.flatnonzero(np.isin(arrays.class_of, failing))
        displaced = displaced[~np.isin(arrays.class_of[displaced], failing)]
    return displaced, lost


class Question:
    """The items of one scenario in the order of their restart, and the hosts' room.

    ``memory_bytes`` has a row an item, ``cores`` a column for each rate of the ground; ``hosts`` are those on which the
    rules alone allow it (rooms are not asked); ``apart`` are its keep-apart groups; ``bars`` says for an item that
    no host can take why not. ``reach`` is a reach class whose hosts include all of ``hosts``.
    """

    def __init__(self, arrays: Arrays, failed_hosts: Sequence[int], failed_pools: Set[str]) -> None:
        self.arrays: Final = arrays
        ground = arrays.ground
        self.rate_of: Final = ground.rate_of
        self.left_bytes: Final = arrays.left_bytes.copy()
        self.left_cores: Final = arrays.left_cores.copy()
        failed = np.array(failed_hosts, dtype=np.int64)
        self.left_bytes[failed] = self.left_cores[failed] = TAKES_NOTHING
        displaced, lost = displaced_rows(arrays, failed_hosts, failed_pools)
        order = np.lexsort((displaced, arrays.restart_order[displaced]))
        self.displaced: Final[Ints] = displaced[order]
        rows = self.displaced
        self.bars: Final[dict[int, str]] = {}
        grouped = (arrays.together_of[rows] != NONE).any() or (arrays.apart_of[rows] != NONE).any()
        self.items: tuple[tuple[int, ...], ...]
        self.apart: tuple[tuple[int, ...], ...]
        self.hosts: list[Ints]
        if grouped:
            self._group(failed, lost)
        else:
            self.items = tuple((row,) for row in rows.tolist())
            self.memory_bytes: Ints = arrays.memory_bytes[rows]
            self.cores: Ints = arrays.cores[rows]
            self.reach: Ints = arrays.class_of[rows]
            self.apart = ((),) * len(rows)
            self.hosts = [ground.class_hosts[c] for c in self.reach.tolist()]

    def _group(self, failed: Ints, lost: Ints) -> None:
        arrays = self.arrays
        merged: dict[tuple[str, int], list[int]] = {}
        for row in self.displaced.tolist():
            group = int(arrays.together_of[row])
            merged.setdefault(("one", row) if group == NONE else ("group", group), []).append(row)
        items = list(merged.values())
        self.items = tuple(tuple(item) for item in items)
        self.memory_bytes = np.array([arrays.memory_bytes[item].sum() for item in items], dtype=np.int64)
        self.cores = np.array([arrays.cores[item].sum(axis=0) for item in items], dtype=np.int64)
        class_hosts = arrays.ground.class_hosts
        self.reach = np.array(
            [min(arrays.class_of[item].tolist(), key=lambda c: len(class_hosts[c])) for item in items],
            dtype=np.int64,
        )
        moving, gone = set(self.displaced.tolist()), set(lost.tolist())
        away = set(failed.tolist())
        apart, hosts = [], []
        for number, item in enumerate(items):
            groups = [int(g) for g in arrays.apart_of[item] if g != NONE]
            allowed = class_hosts[int(arrays.class_of[item[0]])]
            for c in {*arrays.class_of[item].tolist()}:
                if class_hosts[c] is not allowed:
                    allowed = np.intersect1d(allowed, class_hosts[c], assume_unique=True)
            for group in groups:
                standing = [row for row in arrays.rows_apart[group].tolist() if row not in moving]
                allowed = allowed[~np.isin(allowed, arrays.host_of[standing])] if standing else allowed
            mates = self._mates(item, moving | gone, away)
            if mates:
                allowed = allowed[np.isin(allowed, sorted(mates))]
            if len(mates) > 1:
                self.bars[number] = "the machines it must stand together with stand on several hosts"
            if len(set(groups)) < len(groups):
                self.bars[number] = "it must stand together with a machine that it must keep apart from"
            if number in self.bars:
                allowed = allowed[:0]
            apart.append(tuple(groups))
            hosts.append(allowed)
        self.apart, self.hosts = tuple(apart), hosts

    def _mates(self, item: Sequence[int], away_rows: Set[int], failed: Set[int]) -> set[int]:
        """The hosts on which machines stay that the item must stand together with."""
        group = int(self.arrays.together_of[item[0]])
        if group == NONE:
            return set()
        rows = [row for row in self.arrays.rows_together[group].tolist() if row not in away_rows]
        return {int(self.arrays.host_of[row]) for row in rows} - failed

    def __len__(self) -> int:
        return len(self.items)

    def cores_on(self, item: int, hosts: Ints) -> Ints:
        """What the item takes of the cores of each of these hosts, in thousandths."""
        there: Ints = self.cores[item][self.rate_of[hosts]]
        return there

    def takers(self, item: int) -> Ints:
        """The hosts that have room for the item when it comes first."""
        hosts = self.hosts[item]
        room = (self.left_bytes[hosts] >= self.memory_bytes[item]) & (
            self.left_cores[hosts] >= self.cores_on(item, hosts)
        )
        taking: Ints = hosts[room]
        return taking

    def seats(self, host_of_item: Sequence[int]) -> tuple[tuple[str, str], ...]:
        """(machine, host) of every item that has a host (not ``NONE``), in the order of their restart."""
        names, stands = self.arrays.names, self.arrays.ground.stands
        there = {row: host for item, host in zip(self.items, host_of_item, strict=True) for row in item}
        return tuple(
            (names[row], stands[there[row]].name) for row in self.displaced.tolist() if there[row] != NONE
        )

    def machines_without(self, host_of_item: Sequence[int]) -> tuple[str, ...]:
        """The machines of every item that has no host, in the order of their restart."""
        left = {
            row for item, host in zip(self.items, host_of_item, strict=True) if host == NONE for row in item
        }
        return tuple(self.arrays.names[row] for row in self.displaced.tolist() if row in left)
