"""The placement of a problem, as exactly one of the five outcomes; and whether a settled one can be kept.

Not here: how is searched (search.py), what is said about the answer (explain.py).
"""

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Final

from staddle.kernel import OurFault
from staddle.placement.conflict import find_conflict
from staddle.placement.cost import LEVELS, level_values
from staddle.placement.data import Tables
from staddle.placement.explain import NextBest, explain
from staddle.placement.faults import faults_of
from staddle.placement.mends import Change, find_mends
from staddle.placement.model import (
    BestShown,
    GoodWithBound,
    InputInvalid,
    NotFoundInTime,
    Outcome,
    Placement,
    Problem,
)
from staddle.placement.reserve import ReserveCheck
from staddle.placement.search import Found, Search
from staddle.placement.solving import TimeIsUp
from staddle.placement.verify import broken_rules

__all__ = ["kept", "solve"]

# Beyond so many pairs of member and host nobody searches for the next best: it takes a search for each host taken, each
# as long as the first.
_MOST_PAIRS_FOR_NEXT_BEST: Final = 100
_CONFLICT_SHARE: Final = 0.25  # of the limit, for each of the groups that is left out in turn
_NEXT_BEST_LEVELS: Final = LEVELS.index("pool fill") + 1  # table order is no reason that a person needs


def solve(
    problem: Problem,
    *,
    deterministic_limit_s: float = 20.0,
    seed: int = 1,
    progress: Callable[[str], None] | None = None,
    others: Iterable[Change] = (),
) -> Outcome:
    """The best placement by cost.LEVELS, or why there is none. The same input gives the same answer.

    Args: deterministic_limit_s: limit in the solver's deterministic seconds, about one second of work each: for
        finding a placement at all, and once more for making it the best; seed: start of the solver's random choices;
        progress: told in a few words what is being looked for; others: changes that the caller can offer as mends.
    Returns: one of the five outcomes; a placement in it has passed verify.broken_rules. Broken off by TimeIsUp or Ctrl-C it
        is the best so far, and what was proven until then.
    Raises: OurFault: the search's answer breaks a rule. KeyboardInterrupt: on Ctrl-C, before anything was found.
    """
    faults = faults_of(problem)
    if faults:
        return InputInvalid(faults=faults)
    tables = Tables(problem)
    tell = progress or _quiet
    search = Search(tables, limit_s=deterministic_limit_s, seed=seed, progress=tell)
    try:
        found = search.best()
    except TimeIsUp:
        return NotFoundInTime(limit="the time given")
    if found is None:
        return NotFoundInTime(limit=f"{deterministic_limit_s:g} deterministic seconds of search")
    if not isinstance(found, Found):
        tell("looking for the rules in conflict")
        limit_s = deterministic_limit_s * _CONFLICT_SHARE
        part = Search(tables, limit_s=limit_s, seed=seed, progress=_quiet, reserve=search.reserve)
        conflict = find_conflict(tables.groups, part.possible)
        if conflict.stopped:
            return conflict
        tell("looking for changes that would help")

        def possible(changed: Problem) -> bool | None:
            alone = tables.alone if changed.reserve == problem.reserve else None
            again = Search(Tables(changed, alone=alone), limit_s=limit_s / 4, seed=seed, progress=_quiet)
            return again.possible(frozenset(group.name for group in again.tables.groups))

        try:
            mends, undecided = find_mends(tables, conflict.conflict, possible, others=others)
        except TimeIsUp:  # between two of them
            return replace(conflict, stopped=True)
        return replace(conflict, mends=mends, undecided_mends=undecided)
    broken = broken_rules(problem, found.seats)
    if broken:
        raise OurFault.one("the placement found breaks a rule", why="; ".join(broken), mend="report this")
    if not found.stopped:
        tell("looking for the next best hosts")
    placement = _explained(tables, found, search)
    for level, value, bound in zip(LEVELS, found.reached, found.bounds, strict=True):
        if bound < value:
            return GoodWithBound(
                placement=placement, level=level, reached=value, bound=bound, stopped=found.stopped
            )
    return BestShown(placement=placement)


def kept(problem: Problem) -> Placement | None:
    """The settled seats as a placement, when there is one for every member and they still meet every rule.

    Returns: None when anything is missing or broken; then it is solve's turn, which moves as little as it can.
    """
    seats = tuple(problem.settled)
    if not seats or faults_of(problem) or broken_rules(problem, seats):
        return None
    order = [member.name for member in problem.members]
    seats = tuple(sorted(seats, key=lambda seat: order.index(seat.member)))
    tables = Tables(problem)
    active = frozenset(group.name for group in tables.groups)
    answer = ReserveCheck(tables).check(seats, active, learning=False)
    if answer.shortages:
        return None
    levels = zip(LEVELS, map(float, level_values(tables, seats)), strict=True)
    return Placement(
        seats=seats,
        levels=tuple(levels),
        undecided=answer.undecided,
        short_alone=answer.short_alone,
        stops=answer.stops,
    )


def _explained(tables: Tables, found: Found, search: Search) -> Placement:
    reasons, passed_over = explain(tables, found.seats, next_best=_next_best(tables, found, search))
    return Placement(
        seats=found.seats,
        reasons=reasons,
        passed_over=passed_over,
        levels=tuple(zip(LEVELS, map(float, found.reached), strict=True)),
        undecided=found.undecided,
        short_alone=found.short_alone,
        stops=found.stops,
    )


def _next_best(tables: Tables, found: Found, search: Search) -> dict[str, NextBest]:
    """For each host taken the best placement in which no member uses it; {} on large problems."""
    problem = tables.problem
    if found.stopped or len(problem.members) * len(problem.hosts) > _MOST_PAIRS_FOR_NEXT_BEST:
        return {}
    answers: dict[str, NextBest] = {}
    for host in dict.fromkeys(seat.host for seat in found.seats):
        members = tuple(replace(member, keep_out=(*member.keep_out, host)) for member in problem.members)
        search_without = Search(
            Tables(replace(problem, members=members), alone=tables.alone),
            limit_s=search.limit_s / 10,
            seed=search.seed,
            progress=_quiet,
        )
        try:
            other = search_without.best(_NEXT_BEST_LEVELS, floors=found.bounds)
        except KeyboardInterrupt:
            return answers  # the placement itself is there; of the rest nothing is said
        if isinstance(other, Found) and not other.stopped:
            answers[host] = NextBest(seats=other.seats)
        elif other is False:
            answers[host] = NextBest(seats=())
    return answers


def _quiet(_: str) -> None:
    return None
