"""Which hosts machines are bound to by their pools, and how much these hosts are asked for after each scenario.

A machine with a disk in a pool can only restart on a host that reaches it. So what is bound to a set of hosts must fit
into those of them that are left, as a whole: a necessary condition for the reserve (Hall's), linear in what is placed.
Whether the machines really fit, one by one, is the restart test's answer (failures/restart.py).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from staddle.failures.scenario import Scenario
from staddle.placement.alone import Alone
from staddle.placement.model import Problem

__all__ = ["Line", "Reach", "find_reaches"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """After one scenario: memory that others ask for there, and memory that is left there, in bytes.

    ``survive`` are the positions of the sentences that ask for it. ``binding``: none of the hosts left holds more than it
    offers already (which nobody can be asked to mend), so that the members bound there must fit, but for those with a disk
    in ``lost_pools``, which fail too; else the line only tells how full it gets.
    """

    survive: tuple[int, ...]
    base_bytes: int
    capacity_bytes: int
    binding: bool
    lost_pools: frozenset[int] = frozenset()

    def permille(self, ours_bytes: int) -> int:
        """How full it gets with that much of ours, rounded up; 1000 and more where nothing is left."""
        return -(-1000 * (self.base_bytes + ours_bytes) // max(1, self.capacity_bytes))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """One set of hosts: the positions of the pools that no other host reaches, and the lines that can be the worst."""

    pools: frozenset[int]
    lines: tuple[Line, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bound:
    """What is bound to one set of hosts: their memory by name, the machines by number, their memory in all.

    ``overfull`` are those of the hosts on which more is bound than they offer.
    """

    hosts: Mapping[str, int]
    overfull: frozenset[str]
    pools: frozenset[str]
    machines: frozenset[int]
    base_bytes: int


def find_reaches(problem: Problem, alone: Alone) -> tuple[Reach, ...]:
    """The reaches of the question, in the order of the pools; () where the design asks for no reserve.

    A failure that the estate does not outlive even without us gives no line: nothing can be asked of it.
    """
    reserve = problem.reserve
    if reserve is None:
        return ()
    asked: dict[tuple[Scenario, ...], list[int]] = {}
    for position, survive in enumerate(reserve.survive):
        if survive.others_restart:
            asked.setdefault(survive.scenarios, []).append(position)
    memory = {stand.name: stand.memory_bytes for stand in reserve.stands}
    reaching: dict[str, list[str]] = {pool.name: [] for pool in problem.pools}
    for stand in reserve.stands:
        for pool in stand.pools:
            reaching.setdefault(pool, []).append(stand.name)
    on_pool = _by_pool([machine.pools for machine in reserve.machines])
    sets = {pool.name: frozenset(reaching[pool.name]) for pool in problem.pools}
    found = []
    for hosts in dict.fromkeys(sets.values()):
        names = frozenset(name for name, own in sets.items() if own <= hosts)
        machines = frozenset(i for name in names for i in on_pool.get(name, ()))
        held = dict.fromkeys(hosts, 0)
        for i in machines:
            held[reserve.machines[i].host] = (
                held.get(reserve.machines[i].host, 0) + reserve.machines[i].memory_bytes
            )
        bound = _Bound(
            hosts={name: memory[name] for name in hosts},
            overfull=frozenset(name for name in hosts if held[name] > memory[name]),
            pools=names,
            machines=machines,
            base_bytes=sum(reserve.machines[i].memory_bytes for i in machines),
        )
        lines = [
            line
            for scenarios, positions in asked.items()
            for line in _worst(_lines(problem, tuple(positions), scenarios, bound, on_pool, alone))
        ]
        if lines:
            pools = frozenset(i for i, pool in enumerate(problem.pools) if pool.name in names)
            found.append(Reach(pools=pools, lines=tuple(lines)))
    return tuple(found)


def _lines(
    problem: Problem,
    positions: tuple[int, ...],
    scenarios: tuple[Scenario, ...],
    bound: _Bound,
    on_pool: Mapping[str, list[int]],
    alone: Alone,
) -> list[Line]:
    machines = problem.reserve.machines if problem.reserve else ()
    ours = sum(member.memory_bytes for member in problem.members)
    whole = sum(bound.hosts.values())
    pool_at = {pool.name: position for position, pool in enumerate(problem.pools)}
    lines = []
    for scenario in scenarios:
        gone = [bound.hosts[name] for name in scenario.hosts if name in bound.hosts]
        if not gone or bound.pools <= set(scenario.pools):
            continue
        failed = {i for pool in scenario.pools for i in on_pool.get(pool, ())} & bound.machines
        base = bound.base_bytes - sum(machines[i].memory_bytes for i in failed)
        left = whole - sum(gone)
        if base + ours > left and alone.shortage(scenario):
            continue
        lost = frozenset(pool_at[name] for name in scenario.pools if name in pool_at)
        lines.append(
            Line(
                survive=positions,
                base_bytes=base,
                capacity_bytes=left,
                binding=bound.overfull <= set(scenario.hosts),
                lost_pools=lost,
            )
        )
    return lines


def _by_pool(pools: list[tuple[str, ...]]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for position, names in enumerate(pools):
        for name in names:
            found.setdefault(name, []).append(position)
    return found


def _worst(lines: list[Line]) -> list[Line]:
    """Those that no other line of the same kind makes needless: it asks for as much and leaves as little."""
    kept: list[Line] = []
    for line in sorted(
        set(lines),
        key=lambda row: (row.capacity_bytes, -row.base_bytes, not row.binding, sorted(row.lost_pools)),
    ):
        if not any(
            other.base_bytes >= line.base_bytes
            and (other.binding or not line.binding)
            and other.lost_pools <= line.lost_pools
            for other in kept
        ):
            kept.append(line)
    return kept
