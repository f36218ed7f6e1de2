"""Why a member does not stand on a certain host, and what it would cost if it did: asked of the search itself.

The member is pinned to the host and everything else may move, so that the answer is the best there is with it there.
"""

from dataclasses import dataclass, replace

from staddle.placement.conflict import find_conflict
from staddle.placement.cost import LEVELS, level_values
from staddle.placement.data import Tables
from staddle.placement.explain import worse_in_words
from staddle.placement.model import ConflictRule, Problem, Seat
from staddle.placement.search import Found, Search

__all__ = ["Costs", "Excluded", "NotKnown", "Same", "Why", "why"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Excluded:
    """Proven: it cannot stand there. ``rules`` are those of the host alone, or those in conflict once it is pinned."""

    rules: tuple[ConflictRule, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """It can stand there; ``text`` tells the first level that gets worse. ``seats`` are the best with it there."""

    text: str
    seats: tuple[Seat, ...]
    levels: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Same:
    """It stands there."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NotKnown:
    """Neither found nor excluded within the limit."""

    limit: str


Why = Excluded | Costs | Same | NotKnown


def why(
    problem: Problem,
    seats: tuple[Seat, ...],
    *,
    member: str,
    host: str,
    deterministic_limit_s: float = 10.0,
    seed: int = 1,
) -> Why:
    """Why that member does not stand on that host.

    Args: seats: the placement that is compared with, one a member, in the order of the members.
    Raises: KeyError: no such member or host.
    """
    tables = Tables(problem)
    position = next(i for i, row in enumerate(problem.members) if row.name == member)
    if seats[position].host == host:
        return Same()
    bars = tables.alone_bars(position, problem.hosts[tables.host_at[host]])
    if bars:
        return Excluded(rules=bars)
    members = tuple(
        replace(row, pinned_to=host) if i == position else row for i, row in enumerate(problem.members)
    )
    pinned = Tables(replace(problem, members=members), alone=tables.alone)
    search = Search(pinned, limit_s=deterministic_limit_s, seed=seed, progress=lambda _: None)
    found = search.best()
    if isinstance(found, Found):
        values = zip(LEVELS, map(float, level_values(tables, found.seats)), strict=True)
        text = worse_in_words(tables, seats, found.seats, position)
        return Costs(text=text, seats=found.seats, levels=tuple(values))
    if found is None:
        return NotKnown(limit=f"{deterministic_limit_s:g} deterministic seconds of search")
    conflict = find_conflict(pinned.groups, search.possible).conflict
    return Excluded(rules=tuple(rule for rule in conflict if rule.name != f"pin:{host}"))
