"""Machines and hosts as arrays, made once and asked for many scenarios. What a scenario asks is question.py's.

Machines that need the same pools, networks, level and sites and fit the same NUMA nodes are one **reach class**: they may
restart on the same hosts, so that this is computed once for each class and not for each machine.
"""

from collections.abc import Sequence, Set
from typing import Final, Self

import numpy as np
import numpy.typing as npt

from staddle.failures.running import Running, Stand, core_thousandths
from staddle.kernel import Fault, InputRefused

__all__ = ["Arrays", "Ground", "Ints"]

Ints = npt.NDArray[np.int64]
NONE: Final = -1
"""In an array of groups: no group."""


class Ground:
    """The hosts: what each offers, and for each reach class which of them it may restart on. Classes are added as met."""

    def __init__(self, stands: Sequence[Stand]) -> None:
        self.stands: Final = tuple(stands)
        self.host_at: Final = {stand.name: position for position, stand in enumerate(stands)}
        _refuse_doubles("hosts", [stand.name for stand in stands])
        rates = sorted({stand.vcpu_per_core for stand in stands}) or [1.0]
        self.rates: Final = tuple(rates)
        self.rate_of: Final[Ints] = np.array([rates.index(s.vcpu_per_core) for s in stands], dtype=np.int64)
        self.memory_bytes: Final[Ints] = np.array([s.memory_bytes for s in stands], dtype=np.int64)
        self.cores: Final[Ints] = np.array([1000 * s.cores for s in stands], dtype=np.int64)
        self.rate_list: Final[list[int]] = self.rate_of.tolist()
        self.class_hosts: Final[list[Ints]] = []
        self.class_lists: Final[list[list[int]]] = []  # the same as plain numbers
        self.class_pools: Final[list[frozenset[str]]] = []
        self.class_words: Final[list[str]] = []
        self._class_at: Final[dict[object, int]] = {}
        self._sets: Final = [(frozenset(s.pools), frozenset(s.networks)) for s in stands]
        self._nodes: Final = sorted({(s.node_cores, s.node_memory_bytes) for s in stands})
        self._node_of: Final = [self._nodes.index((s.node_cores, s.node_memory_bytes)) for s in stands]
        self._nodes_fitting: Final[dict[tuple[int, int], tuple[bool, ...]]] = {}
        self._core_needs: Final[dict[tuple[int, float | None], tuple[int, ...]]] = {}

    def class_of(self, machine: Running) -> int:
        """The number of the machine's reach class."""
        size = (machine.vcpus, machine.memory_bytes)
        nodes = self._nodes_fitting.get(size)
        if nodes is None:
            nodes = tuple(
                not (0 < cores < size[0] or 0 < memory_bytes < size[1]) for cores, memory_bytes in self._nodes
            )
            self._nodes_fitting[size] = nodes
        key = (machine.pools, machine.networks, machine.cpu_levels, machine.sites, nodes)
        number = self._class_at.get(key)
        if number is None:
            # The same needs in another order are the same class.
            sets = (
                frozenset(machine.pools),
                frozenset(machine.networks),
                frozenset(machine.cpu_levels),
                frozenset(machine.sites),
                nodes,
            )
            number = self._class_at.setdefault(sets, len(self.class_hosts))
            self._class_at[key] = number
            if number == len(self.class_hosts):
                self._add_class(machine, nodes)
        return number

    def _add_class(self, machine: Running, nodes: tuple[bool, ...]) -> None:
        pools, networks = frozenset(machine.pools), frozenset(machine.networks)
        fitting = [
            position
            for position, stand in enumerate(self.stands)
            if pools <= self._sets[position][0]
            and networks <= self._sets[position][1]
            and (not machine.cpu_levels or stand.cpu_level in machine.cpu_levels)
            and (not machine.sites or stand.site in machine.sites)
            and nodes[self._node_of[position]]
        ]
        self.class_hosts.append(np.array(fitting, dtype=np.int64))
        self.class_lists.append(fitting)
        self.class_pools.append(pools)
        needs = (
            ("", sorted(pools)),
            ("network ", sorted(networks)),
            ("CPU level ", [" or ".join(sorted(machine.cpu_levels))] if machine.cpu_levels else []),
            ("site ", sorted(machine.sites)),
        )
        words = ", ".join(word + " and ".join(names) for word, names in needs if names)
        if not all(nodes):
            words += (", " if words else "") + "a NUMA node large enough"
        self.class_words.append(words)

    def core_needs(self, machine: Running) -> tuple[int, ...]:
        """What the machine takes of the cores, in thousandths, at each of ``rates``."""
        key = (machine.vcpus, machine.vcpu_per_core)
        needs = self._core_needs.get(key)
        if needs is None:
            needs = tuple(core_thousandths(key[0], rate if key[1] is None else key[1]) for rate in self.rates)
            self._core_needs[key] = needs
        return needs


class Arrays:
    """The machines on their ground: one row a machine, in the order given.

    ``cores`` has a column for each of the ground's rates; ``left_*`` is what each host has left, 0 where it has less.
    """

    ground: Ground
    names: list[str]
    memory_bytes: Ints
    cores: Ints
    host_of: Ints
    class_of: Ints
    restart_order: Ints
    apart_of: Ints
    together_of: Ints
    left_bytes: Ints
    left_cores: Ints

    def __init__(self, machines: Sequence[Running], ground: Ground) -> None:
        self.ground = ground
        self._apart_at: dict[str, int] = {"": NONE}
        self._together_at: dict[str, int] = {"": NONE}
        self._fill(machines, ground)
        self._derive()

    def changed(self, without: Set[str], extra: Sequence[Running]) -> Self:
        """The same with some machines left out and others added at the end.

        Raises: InputRefused: a name to leave out is unknown, or one to add is there already.
        """
        other = object.__new__(type(self))
        other._apart_at, other._together_at = dict(self._apart_at), dict(self._together_at)
        other._fill(extra, self.ground)
        unknown = sorted(without - self.row_at.keys())
        if unknown:
            raise InputRefused.one(f'"{unknown[0]}" shall be left out, and no machine has that name')
        rows = np.ones(len(self.names), dtype=bool)
        rows[[self.row_at[name] for name in without]] = False
        kept = np.flatnonzero(rows)
        other.names = [self.names[row] for row in kept.tolist()] + other.names
        for field in (
            "memory_bytes",
            "cores",
            "host_of",
            "class_of",
            "restart_order",
            "apart_of",
            "together_of",
        ):
            setattr(other, field, np.concatenate((getattr(self, field)[kept], getattr(other, field))))
        other._derive()
        return other

    def _fill(self, machines: Sequence[Running], ground: Ground) -> None:
        self.ground = ground
        faults = [
            Fault(
                what=f'machine "{m.name}" stands on "{m.host}", which is no host',
                mend="mend its row, or leave it out",
            )
            for m in machines
            if m.host not in ground.host_at
        ]
        if faults:
            raise InputRefused(*faults)
        apart, together = self._apart_at, self._together_at
        self.names = [m.name for m in machines]
        self.memory_bytes = _ints([m.memory_bytes for m in machines])
        self.cores = _ints([ground.core_needs(m) for m in machines]).reshape(len(machines), len(ground.rates))
        self.host_of = _ints([ground.host_at[m.host] for m in machines])
        self.class_of = _ints([ground.class_of(m) for m in machines])
        self.restart_order = _ints([m.restart_order for m in machines])
        self.apart_of = _ints([apart.setdefault(m.apart, len(apart) - 1) for m in machines])
        self.together_of = _ints([together.setdefault(m.together, len(together) - 1) for m in machines])

    def _derive(self) -> None:
        hosts = len(self.ground.stands)
        self.row_at = {name: row for row, name in enumerate(self.names)}
        if len(self.row_at) < len(self.names):
            _refuse_doubles("machines", self.names)
        order = np.argsort(self.host_of, kind="stable")
        bounds = np.searchsorted(self.host_of[order], np.arange(hosts + 1))
        self.rows_on: list[Ints] = [order[bounds[h] : bounds[h + 1]] for h in range(hosts)]
        self.left_bytes, self.left_cores = self.left_without(np.zeros(0, dtype=np.int64))
        self.left_bytes_list: list[int] = self.left_bytes.tolist()
        self.left_cores_list: list[int] = self.left_cores.tolist()
        self.rows_apart = _rows_of(self.apart_of)
        self.rows_together = _rows_of(self.together_of)

    def left_without(self, rows: Ints) -> tuple[Ints, Ints]:
        """What each host has left when these machines hold nothing: bytes, and thousandths of a core; never below 0."""
        ground, hosts = self.ground, len(self.ground.stands)
        holding = np.ones(len(self.names), dtype=bool)
        holding[rows] = False
        there = self.host_of[holding]
        used_bytes, used_cores = np.zeros(hosts, dtype=np.int64), np.zeros(hosts, dtype=np.int64)
        np.add.at(used_bytes, there, self.memory_bytes[holding])
        np.add.at(used_cores, there, self.cores[holding, ground.rate_of[there]])
        return np.maximum(ground.memory_bytes - used_bytes, 0), np.maximum(ground.cores - used_cores, 0)


def _ints(values: Sequence[object]) -> Ints:
    return np.array(values, dtype=np.int64)


def _rows_of(groups: Ints) -> dict[int, Ints]:
    """The rows of each group."""
    rows = np.flatnonzero(groups != NONE)
    found: dict[int, list[int]] = {}
    for row, group in zip(rows.tolist(), groups[rows].tolist(), strict=True):
        found.setdefault(group, []).append(row)
    return {group: np.array(members, dtype=np.int64) for group, members in found.items()}


def _refuse_doubles(what: str, names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputRefused.one(f'two {what} are named "{name}"', mend="give each a name of its own")
        seen.add(name)
