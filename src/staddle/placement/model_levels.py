"""The levels of the objective in the constraint model: as an amount to make least, or as a limit that can be tried.

What they mean stands in cost.py. Fill is a limit: so many per mille at most, each room a row of its own, which a solver
decides far faster than it makes the fullest of thousands of rooms least.
"""

from typing import TYPE_CHECKING

from staddle.placement.bars import group
from staddle.placement.cost import LEVELS
from staddle.placement.fates import Fate
from staddle.placement.fill import fill_permille, fill_unit
from staddle.placement.model import ClusterRules
from staddle.placement.model_cp import PlacementModel, within

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    from staddle.placement.model_seats import Linear

__all__ = ["AMOUNTS", "LIMITS", "add_limit", "amount", "least_possible"]

AMOUNTS = ("shared fate", "movement", "table order")
LIMITS = tuple(level for level in LEVELS if level not in AMOUNTS)


def amount(model: PlacementModel, level: str) -> "Linear":
    """What to make least at that level. Adds the Booleans and constraints that it needs."""
    if level not in model.amounts:
        make = {"shared fate": _shared_fate, "movement": _movement, "table order": _table_order}[level]
        model.amounts[level] = make(model)
    return model.amounts[level]


def add_limit(model: PlacementModel, cp: "cp_model.CpModel", level: str, most: int) -> None:
    """Forbid, in ``cp``, everything above so many per mille. Args: cp: the model's own, or a clone of it."""
    {"host fill": _limit_hosts, "pool fill": _limit_pools, "fill after a failure": _limit_reaches}[level](
        model, cp, most
    )


def least_possible(model: PlacementModel, level: str) -> int:
    """What nothing can be below at a level of LIMITS, by looking at single seats alone."""
    if level == "host fill":
        return _least_host_fill(model)
    return _least_pool_fill(model) if level == "pool fill" else _least_reach_fill(model)


def _shared_fate(model: PlacementModel) -> "Linear":
    return sum(_shared_in(model, rules) for rules in model.tables.problem.clusters)


def _shared_in(model: PlacementModel, rules: ClusterRules) -> "Linear":
    # Of n members in one domain the kth adds k - 1 pairs. The costs rise, so that least cost takes the steps in order.
    total: Linear = 0
    units = model.units_of(rules)
    apart = {
        row.kind: row.most for row in rules.apart if group(rules.name, f"apart:{row.kind}") in model.active
    }
    for fate in model.tables.fates:
        if not fate.below_site or apart.get(fate.kind) == 1:
            continue
        terms = [(u, t) for u in units for t in model.touches(u, fate)]
        most = min(
            sum(model.units[u].count for u in dict.fromkeys(u for u, _ in terms)),
            apart.get(fate.kind, len(model.tables.problem.members)),
            _most_members(model, units, fate),
        )
        steps = [(k - 1, model.cp.new_bool_var("")) for k in range(2, most + 1)]
        if steps:
            model.cp.add(sum(t for _, t in terms) <= 1 + sum(step for _, step in steps))
            total += fate.weight * sum(pairs * step for pairs, step in steps)
    return total


def _most_members(model: PlacementModel, units: list[int], fate: Fate) -> int:
    """How many members that host can hold at most by memory; no such limit for other domains."""
    problem = model.tables.problem
    if fate.kind != "host" or fate.pools or "memory" not in model.active:
        return len(problem.members)
    host = problem.hosts[fate.hosts[0]]
    left, count = host.memory_bytes, 0
    for need in sorted(host.memory_for(model.member(u)) for u in units for _ in range(model.units[u].count)):
        left -= need
        count += left >= 0
    return count


def _movement(model: PlacementModel) -> "Linear":
    tables = model.tables
    every = 0
    stays: list[cp_model.IntVar] = []
    keeps: dict[tuple[int, int, int], list[cp_model.IntVar]] = {}
    for (u, _, k, q), keep in model.keeps.items():
        keeps.setdefault((u, k, q), []).append(keep)
    for u, unit in enumerate(model.units):
        before = tables.settled.get(model.member(u).name)
        if before is None:
            continue
        every += unit.count * (1 + min(len(before.disks), len(model.member(u).disks)))
        host = model.stands.get((u, tables.host_at.get(before.host, -1)))
        stays += [] if host is None else [host]
        for k, (_, pool) in enumerate(before.disks):
            stays += keeps.get((u, k, tables.pool_at.get(pool, -1)), [])
    return every - sum(stays)


def _table_order(model: PlacementModel) -> "Linear":
    count = len(model.tables.problem.members)
    hosts = sum((count - model.units[u].members[0]) * h * stand for (u, h), stand in model.stands.items())
    pools = sum((count - model.units[u].members[0]) * q * keep for (u, _, _, q), keep in model.keeps.items())
    return hosts + pools


def _limit_hosts(model: PlacementModel, cp: "cp_model.CpModel", most: int) -> None:
    problem = model.tables.problem
    rows: dict[int, list[tuple[int, cp_model.IntVar]]] = {}
    for (u, h), stand in model.stands.items():
        unit = fill_unit(problem.hosts[h].memory_total_bytes)
        rows.setdefault(h, []).append((problem.hosts[h].memory_for(model.member(u)) // unit, stand))
    for h, terms in rows.items():
        host = problem.hosts[h]
        _limit(cp, terms, host.memory_total_bytes, host.memory_bytes, most)


def _limit_pools(model: PlacementModel, cp: "cp_model.CpModel", most: int) -> None:
    problem = model.tables.problem
    rows: dict[int, list[tuple[int, cp_model.IntVar]]] = {}
    for (u, _, k, q), keep in model.keeps.items():
        unit = fill_unit(problem.pools[q].capacity_bytes)
        rows.setdefault(q, []).append((model.member(u).disks[k].written_bytes // unit, keep))
    for q, terms in rows.items():
        pool = problem.pools[q]
        _limit(cp, terms, pool.capacity_bytes, pool.free_bytes, most)


def _limit(
    cp: "cp_model.CpModel", terms: list[tuple[int, "cp_model.IntVar"]], total: int, left: int, most: int
) -> None:
    """One room of at most so many per mille, or untaken. As fill.fill_permille counts."""
    unit = fill_unit(total)
    whole, base = max(1, -(-total // unit)), (total - left) // unit
    room = most * whole // 1000 - base
    free = []
    for need, taken in terms:
        if need > room:
            cp.add(taken == 0)
        else:
            free.append((need, taken))
    within(cp, free, room)


def _limit_reaches(model: PlacementModel, cp: "cp_model.CpModel", most: int) -> None:
    for reach in model.tables.reaches:
        room = min(most * line.capacity_bytes // 1000 - line.base_bytes for line in reach.lines)
        free = []
        for need, taken in model.bound_to[reach.pools]:
            if need > room:
                cp.add(taken == 0)
            else:
                free.append((need, taken))
        within(cp, free, room)


def _least_host_fill(model: PlacementModel) -> int:
    """For each unit the emptiest cells, as many as it has members."""
    problem = model.tables.problem
    best: dict[int, dict[int, int]] = {}
    for u, h in model.stands:
        host, cell = problem.hosts[h], model.units[u].cell_of[h]
        needs = [host.memory_for(model.member(u))]
        fill = fill_permille(host.memory_total_bytes, host.memory_bytes, needs)
        own = best.setdefault(u, {})
        own[cell] = min(fill, own.get(cell, fill))
    ranked = [(sorted(own.values()), model.units[u].count) for u, own in best.items()]
    return max((fills[count - 1] for fills, count in ranked if len(fills) >= count), default=0)


def _least_pool_fill(model: PlacementModel) -> int:
    problem = model.tables.problem
    best: dict[tuple[int, int], int] = {}
    for u, _, k, q in model.keeps:
        pool = problem.pools[q]
        fill = fill_permille(pool.capacity_bytes, pool.free_bytes, [model.member(u).disks[k].written_bytes])
        best[u, k] = min(fill, best.get((u, k), fill))
    return max(best.values(), default=0)


def _least_reach_fill(model: PlacementModel) -> int:
    """For each disk the pool that binds its member to the least filled hosts."""
    best: dict[tuple[int, int], int] = {}
    fills: dict[tuple[int, int], int] = {}
    for u, _, k, q in model.keeps:
        need = model.member(u).memory_bytes
        if (q, need) not in fills:
            lines = [line for reach in model.tables.reaches if q in reach.pools for line in reach.lines]
            fills[q, need] = max((line.permille(need) for line in lines), default=0)
        best[u, k] = min(fills[q, need], best.get((u, k), fills[q, need]))
    return max(best.values(), default=0)
