"""A cut of the reserve in the constraint model: not all of what it names is taken, by whichever members.

Members for all of it are there exactly when, for every choice of its places, at least as many members stand in one of
these as are asked for (Hall's theorem). Places that no member can be in at once need only be looked at one by one.
"""

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from staddle.placement.learnt import Cut, Place, Taken
from staddle.placement.model_seats import SeatModel

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

    from staddle.placement.model_seats import Linear, Terms

__all__ = ["add_cut"]


def add_cut(model: SeatModel, cut: Cut) -> None:
    """Forbid it, where the groups of rules that it rests on are active."""
    if not {cut.group, *cut.assumed} <= model.active:
        return
    conditions: list[tuple[Terms, int]] = []
    for rows in meeting(cut.taken):
        members = sum(len(model.tables.classes[c]) for c in rows[0].classes)
        for size in range(1, len(rows) + 1):
            for chosen in combinations(rows, size):
                count = sum(row.count for row in chosen)
                terms = _standing(model, cut, chosen[0].classes, [row.place for row in chosen])
                if count > min(len(terms), members):
                    return  # so many can never be there
                conditions.append((terms, count))
    if len(conditions) == 1:
        terms, count = conditions[0]
        model.cp.add(sum(terms) <= count - 1)
        return
    all_taken = []
    for terms, count in conditions:
        taken = model.cp.new_bool_var("")
        all_taken.append(taken)
        model.cp.add(sum(terms) <= count - 1 + len(terms) * taken)
    model.cp.add(sum(all_taken) <= len(all_taken) - 1)


def meeting(taken: Sequence[Taken]) -> Iterator[list[Taken]]:
    """What is taken, in parts that have nothing to do with each other: no member can count for two of them."""
    waiting = list(taken)
    while waiting:
        part = [waiting.pop(0)]
        for row in part:  # grows on the way
            near = [w for w in waiting if w.classes == row.classes and w.place.meets(row.place)]
            part += near
            waiting = [w for w in waiting if w not in near]
        yield part


def _standing(model: SeatModel, cut: Cut, classes: tuple[int, ...], places: Sequence[Place]) -> "Terms":
    """Booleans whose sum is forced to be the number of members of these classes in any of the places, at least."""
    tables = model.tables
    hosts = {tables.host_at[name] for place in places for name in place.hosts if name in tables.host_at}
    wanted = {tables.classes[c] for c in classes}
    found: Terms = []
    for u, unit in enumerate(model.units):
        if unit.members not in wanted:
            continue
        found += [model.stands[u, h] for h in hosts if (u, h) in model.stands]
        for x in model.cells[u]:
            found += _restarting(model, cut, u, x, places)
    return found


def _restarting(model: SeatModel, cut: Cut, u: int, x: int, places: Sequence[Place]) -> "Terms":
    """One Boolean that is 1 if a member of the unit stands on a failed host of the cell and has to restart there."""
    tables = model.tables
    disks = range(len(model.member(u).disks))
    bounds: list[Linear] = []
    plain: list[cp_model.IntVar] = []
    for place in places:
        at = [tables.host_at[name] for name in place.failed if name in tables.host_at]
        there = [model.stands[u, h] for h in model.cells[u][x] if h in at]
        if not there:
            continue
        if place.pools is None:
            lost = [tables.pool_at[name] for name in cut.lost_pools if name in tables.pool_at]
            gone = [model.keeps[u, x, k, q] for k in disks for q in lost if (u, x, k, q) in model.keeps]
            if not gone and len(there) == 1:
                plain += there
            bounds.append(sum(there) - sum(gone))
        else:
            keys = [(u, x, k, tables.pool_at[name]) for k, name in enumerate(place.pools)]
            if all(key in model.keeps for key in keys):
                bounds.append(sum(there) + sum(model.keeps[key] for key in keys) - len(keys))
    if not bounds:
        return []
    if plain and len(bounds) == 1:
        return plain
    restarting = model.cp.new_bool_var("")
    for bound in bounds:
        model.cp.add(restarting >= bound)
    return [restarting]
