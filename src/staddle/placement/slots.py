"""What nothing can be below at the levels of fill, by counting how many members or disks rooms could take at all.

A relaxation: of all rules only room, and at most one member of a cluster in a cell, are looked at. Not here: the
bounds that refute a question (bounds.py), the search.
"""

from collections.abc import Callable, Sequence

from staddle.placement.cells import cells_of
from staddle.placement.data import Tables
from staddle.placement.fill import fill_permille, fill_unit

__all__ = ["hosts_with_room", "least_host_fill", "least_pool_fill"]


def least_host_fill(tables: Tables, active: frozenset[str]) -> int:
    """Per mille that the fullest host used has at least.

    For a limit every host offers as many slots of the smallest member as fit below it, a cell at most one a cluster; the
    least limit with a slot for every member bounds it, and so does each class by itself.
    """
    problem = tables.problem
    usable = _usable(tables)
    cells = {rules.name: cells_of(tables, rules, active) for rules in problem.clusters}
    single = all(one for _, one in cells.values())
    # Cells differ from cluster to cluster only in which kind they are; slots are counted by the first's.
    cell_of = cells[problem.clusters[0].name][0] if single else list(range(len(problem.hosts)))
    alike = single and all(own == cell_of for own, _ in cells.values())
    smallest = min(member.memory_bytes for member in problem.members)
    most_in_cell = len(problem.clusters) if alike else len(problem.members)

    def enough(limit: int) -> bool:
        slots: dict[int, int] = {}
        for h in usable:
            host = problem.hosts[h]
            unit = fill_unit(host.memory_total_bytes)
            whole = max(1, -(-host.memory_total_bytes // unit))
            base = (host.memory_total_bytes - host.memory_bytes) // unit
            room = limit * whole // 1000 - base
            need = smallest // unit
            cell = cell_of[h] if alike else h
            own = room // need if need else most_in_cell  # what needs less than a unit takes nothing of it
            slots[cell] = slots.get(cell, 0) + (max(0, own) if room >= 0 else 0)
        return sum(min(count, most_in_cell) for count in slots.values()) >= len(problem.members)

    return max(_least(enough), _least_of_classes(tables, active))


def _least_of_classes(tables: Tables, active: frozenset[str]) -> int:
    problem = tables.problem
    worst = 0
    for positions in tables.classes:
        member = problem.members[positions[0]]
        cell_of, single = cells_of(tables, tables.rules_of(member), active)
        best: dict[int, int] = {}
        for h, host in enumerate(problem.hosts):
            if not tables.host_bars(member, host):
                needs = [host.memory_for(member)]
                fill = fill_permille(host.memory_total_bytes, host.memory_bytes, needs)
                best[cell_of[h]] = min(fill, best.get(cell_of[h], fill))
        ranked = sorted(best.values())
        count = len(positions) if single else 1
        if len(ranked) >= count:
            worst = max(worst, ranked[count - 1])
    return worst


def hosts_with_room(tables: Tables, limit: int) -> frozenset[int]:
    """The hosts that some member can take by itself and that are then no fuller than that, per mille; and settled ones."""
    problem = tables.problem
    wanted = {seat.host for seat in problem.settled} | {member.pinned_to for member in problem.members}
    found = {h for h, host in enumerate(problem.hosts) if host.name in wanted}
    for positions in tables.classes:
        member = problem.members[positions[0]]
        for h, host in enumerate(problem.hosts):
            if h not in found and not tables.host_bars(member, host):
                needs = [host.memory_for(member)]
                if fill_permille(host.memory_total_bytes, host.memory_bytes, needs) <= limit:
                    found.add(h)
    return frozenset(found)


def least_pool_fill(tables: Tables) -> int:
    """Per mille that the fullest pool used has at least: by volume, and by slots of the smallest disk."""
    problem = tables.problem
    needs = sorted(disk.written_bytes for member in problem.members for disk in member.disks)
    if not needs:
        return 0
    reached = {pool for h in _usable(tables) for pool in problem.hosts[h].pools}
    pools = [pool for pool in problem.pools if pool.name in reached]

    def enough(limit: int) -> bool:
        rooms = []
        for pool in pools:
            unit = fill_unit(pool.capacity_bytes)
            whole = max(1, -(-pool.capacity_bytes // unit))
            base = (pool.capacity_bytes - pool.free_bytes) // unit
            rooms.append(max(0, limit * whole // 1000 - base) * unit)
        # Needs are counted in whole units downwards: a unit less a disk keeps this a bound.
        slack = max((fill_unit(pool.capacity_bytes) for pool in pools), default=0)
        volume = sum(max(0, need - slack) for need in needs) <= sum(rooms)
        return volume and _slots(needs, rooms, slack)

    return _least(enough)


def _slots(needs: Sequence[int], rooms: Sequence[int], slack: int) -> bool:
    return all(
        sum(room // (size - slack) for room in rooms) >= sum(need >= size for need in needs)
        for size in sorted(
            {need for need in needs if need > slack}
        )  # smaller ones may take nothing of a room
    )


def _usable(tables: Tables) -> list[int]:
    members = [tables.problem.members[positions[0]] for positions in tables.classes]
    return [
        h
        for h, host in enumerate(tables.problem.hosts)
        if any(not tables.host_bars(member, host) for member in members)
    ]


def _least(enough: Callable[[int], bool]) -> int:
    """The least limit of 0 to 1000 per mille that is enough; 1001 when none is."""
    low, high = 0, 1001
    while low < high:
        middle = (low + high) // 2
        if enough(middle):
            high = middle
        else:
            low = middle + 1
    return low
