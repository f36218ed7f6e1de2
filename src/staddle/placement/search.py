"""Level after level with the constraint solver: same problem, same limit, same answer.

One worker, a fixed start of its random choices and limits in the solver's deterministic time; no clock is read. What a
placement leaves after a failure is asked exactly: of the first one that is found, before any level is looked at, and of the
best; what is learnt from a no goes into the next model, so that in the end either the best placement that leaves its reserve
is there, or none is possible. The limit is that of the whole search, whatever it learns on the way. Not here: what the
outcome means (solve.py), which groups are in conflict (conflict.py).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import ceil
from typing import TYPE_CHECKING, Final

from staddle.kernel import OurFault
from staddle.placement.bounds import none_by_volume
from staddle.placement.cost import LEVELS, level_values
from staddle.placement.data import Tables
from staddle.placement.learnt import NOTHING_LEARNT
from staddle.placement.model import Seat
from staddle.placement.model_cp import PlacementModel
from staddle.placement.model_levels import AMOUNTS, add_limit, amount, least_possible
from staddle.placement.reserve import ReserveAnswer, ReserveCheck
from staddle.placement.slots import hosts_with_room, least_host_fill, least_pool_fill
from staddle.placement.solving import solved

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["Found", "Search"]

# The share of the limit that one level may use at most; what a level leaves is not handed on. The last one only
# decides between equally good answers.
_SHARES: Final = {
    "shared fate": 0.4,
    "movement": 0.1,
    "host fill": 0.25,
    "pool fill": 0.1,
    "fill after a failure": 0.1,
    "table order": 0.05,
}
_FIRST_FIT_SHARE: Final = 0.3
_TRIALS: Final = 2  # the share of what is left that one limit tried may use is one in so many
_MANY_VARIABLES: Final = 8000
_ROUNDING: Final = 1e-6  # bounds are whole numbers that the solver hands out as floats
_HOST_FILL: Final = LEVELS.index("host fill")
_MOST_ROUNDS: Final = 40  # of placements that were found and did not leave their reserve
_EMPTIEST_SHARE: Final = 0.5  # of what is left for finding one, for each try among some hosts only
_MOST_PAIRS_IN_ORDER: Final = (
    4000  # of member and host; beyond, what is equally good is not put in table order
)
_MOST_PAIRS_AT_ONCE: Final = 8000  # beyond, the emptiest hosts are looked at first
_MARGINS_PERMILLE: Final = (0, 10, 40, 150)  # above the least host fill that is thinkable


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Seats, and for each level of cost.LEVELS in order what was reached and what nothing can be below.

    ``undecided`` names scenarios whose restarts were neither shown nor excluded; ``stopped``: broken off on the way.
    """

    seats: tuple[Seat, ...]
    reached: tuple[int, ...]
    bounds: tuple[int, ...]
    undecided: tuple[str, ...] = ()
    short_alone: tuple[str, ...] = ()
    stops: tuple[tuple[str, str], ...] = ()
    stopped: bool = False


@dataclass(slots=True)
class _Budget:
    """Deterministic seconds that are left for some runs of the solver."""

    left_s: float


@dataclass(frozen=True, slots=True)
class _Learnt:
    """The first placement found did not leave its reserve, and something was learnt of it."""


class Search:
    """One search. Args: limit_s: deterministic seconds; seed: start of the solver's random choices."""

    def __init__(
        self,
        tables: Tables,
        *,
        limit_s: float,
        seed: int,
        progress: Callable[[str], None],
        reserve: ReserveCheck | None = None,
    ) -> None:
        self.tables: Final = tables
        self.limit_s: Final = limit_s
        self.seed: Final = seed
        self.progress: Final = progress
        self.reserve: Final = reserve or ReserveCheck(tables)
        self._learnt = NOTHING_LEARNT
        self._so_far: Found | None = None
        self._passed: Found | None = None  # the best that was asked of the reserve and leaves it
        self._finding = _Budget(left_s=limit_s)
        self._making_best = _Budget(left_s=limit_s)

    def possible(self, active: frozenset[str]) -> bool | None:
        """Whether seats exist under these groups of rules; None when the limit ended first."""
        if none_by_volume(self.tables.problem, active):
            return False
        self._finding = _Budget(left_s=self.limit_s)
        for _ in range(_MOST_ROUNDS):
            model = PlacementModel(self.tables, active, self._learnt)
            answer, solver = self._any(model)
            if solver is None:
                return answer
            learnt = self.reserve.check(model.seats(solver), active).learnt
            if not learnt:
                return True
            self._learnt = self._learnt.with_more(learnt)
        return None

    def best(self, levels: int = len(LEVELS), *, floors: tuple[int, ...] = ()) -> Found | bool | None:
        """The best seats by the first so many levels; False when none exist, None when the limit ended first.

        Args: floors: what nothing can be below on each level while the levels before it are no worse than theirs; known
            where this question is another one with a rule more.
        Ctrl-C gives the best so far, where there is one that leaves its reserve.
        """
        active = frozenset(group.name for group in self.tables.groups)
        if none_by_volume(self.tables.problem, active):
            return False
        try:
            return self._best(active, levels, floors)
        except KeyboardInterrupt:
            so_far = self._broken_off(active)
            if so_far is None:
                raise
            return so_far

    def _broken_off(self, active: frozenset[str]) -> Found | None:
        """The best so far that leaves its reserve; None where none was found yet."""
        so_far = self._so_far
        if so_far is not None and so_far is not self._passed:
            answer = self.reserve.check(so_far.seats, active, learning=False)
            if not answer.shortages:
                return replace(self._told(so_far, answer), stopped=True)
        return None if self._passed is None else replace(self._passed, stopped=True)

    def _best(self, active: frozenset[str], levels: int, floors: tuple[int, ...]) -> Found | bool | None:
        self._passed = None
        self._finding, self._making_best = _Budget(left_s=self.limit_s), _Budget(left_s=self.limit_s)
        for _ in range(_MOST_ROUNDS):
            self._so_far = None
            found = self._round(active, levels, floors)
            if isinstance(found, _Learnt):
                continue
            if found is False and self._passed is not None:
                raise OurFault.one("none is said to exist, and one was found", mend="report this")
            if not isinstance(found, Found):
                return found if self._passed is None else self._passed
            answer = self._asked_of_reserve(found.seats, active)
            if not answer.shortages:
                return self._told(found, answer)
        return self._passed

    def _asked_of_reserve(self, seats: tuple[Seat, ...], active: frozenset[str]) -> ReserveAnswer:
        answer = self.reserve.check(seats, active)
        if answer.shortages:
            self.progress(
                f"{answer.shortages[0].scenario}: too little would be left; looking for another placement"
            )
            self._learnt = self._learnt.with_more(answer.learnt)
        return answer

    def _round(
        self, active: frozenset[str], levels: int, floors: tuple[int, ...]
    ) -> Found | _Learnt | bool | None:
        """The best seats under what is learnt so far. On a large estate the emptiest hosts are looked at first.

        A placement on these that makes no level above the host fill worse than nothing is the best of all: hosts that
        would be fuller with a member than the fullest one used cannot take part in a better one.
        """
        pairs = len(self.tables.problem.members) * len(self.tables.problem.hosts)
        if pairs > _MOST_PAIRS_AT_ONCE:
            least = least_host_fill(self.tables, active)
            for nothing_shared in (True, False):
                found = self._among_emptiest(active, levels, floors, least, nothing_shared=nothing_shared)
                if found is not None:
                    return found
        return self._levels(PlacementModel(self.tables, active, self._learnt), levels, floors)

    def _among_emptiest(
        self,
        active: frozenset[str],
        levels: int,
        floors: tuple[int, ...],
        least: int,
        *,
        nothing_shared: bool,
    ) -> Found | _Learnt | None:
        """The best on the emptiest hosts; None where nothing is found there.

        Fuller than the limit by which these were chosen, it may be beaten with others: then more of them are looked at.
        """
        tried = 0
        so_far: Found | None = None
        for margin in _MARGINS_PERMILLE:
            limit = least + margin
            only = hosts_with_room(self.tables, limit)
            if len(only) == tried:
                continue
            tried = len(only)
            self.progress(f"looking among the {tried} emptiest hosts")
            model = PlacementModel(
                self.tables, active, self._learnt, only=only, nothing_shared=nothing_shared
            )
            found = self._levels(model, levels, floors, least=least, limit=limit)
            if isinstance(found, _Learnt):
                return found
            if isinstance(found, Found):
                if so_far is None or found.reached < so_far.reached:
                    so_far = found
                if so_far.reached[_HOST_FILL] <= limit:
                    break
        return so_far

    def _levels(
        self,
        model: PlacementModel,
        levels: int,
        floors: tuple[int, ...],
        *,
        least: int | None = None,
        limit: int = 0,
    ) -> Found | _Learnt | bool | None:
        """Level after level, once the first placement found has been seen to leave its reserve.

        Args: least: of the host fill, where the model holds the emptiest hosts only; limit: the host fill, per mille, above
            which other hosts could take part too, so that nothing is proven there.
        """
        self.progress("looking for any placement")
        possible, solver = self._any(model, share=1.0 if least is None else _EMPTIEST_SHARE)
        if solver is None:
            return possible
        seats = model.seats(solver)
        bounds: list[int] = []
        self._keep(seats, bounds, levels)
        if self._passed is None:
            answer = self._asked_of_reserve(seats, model.active)
            if answer.shortages:
                return _Learnt()
            self._passed = self._told(self._not_compared(seats, levels), answer)
        limit_s = self._making_best.left_s
        pairs = len(self.tables.problem.members) * len(self.tables.problem.hosts)
        for position, level in enumerate(LEVELS[:levels]):
            value = level_values(self.tables, seats)[position]
            if level == "table order" and pairs > _MOST_PAIRS_IN_ORDER:
                bounds.append(value)
                continue
            floor = bound = floors[position] if floors else 0
            if value > floor:  # what is at its floor needs no proof; no level is below 0
                self.progress(f"least {level}, so far {value}")
                budget = _Budget(left_s=limit_s * _SHARES[level])
                if level in AMOUNTS:
                    seats, bound = self._least_amount(model, level, seats, budget)
                    bound = bound if least is None else floor  # other hosts might do better
                else:
                    floor = max(floor, least or 0) if level == "host fill" else floor
                    floor = max(floor, least_pool_fill(self.tables)) if level == "pool fill" else floor
                    seats, bound = self._least_limit(model, level, seats, budget, floor)
                    if least is not None:  # other hosts are known not to do better up to the limit only
                        host_fill = level_values(self.tables, seats)[_HOST_FILL]
                        known = limit + 1 if level == "host fill" else bound if host_fill <= limit else floor
                        bound = min(bound, known)
                self._making_best.left_s -= limit_s * _SHARES[level] - max(0.0, budget.left_s)
                value = level_values(self.tables, seats)[position]
            self._fix(model, level, value)
            bounds.append(max(bound, floor))
            self._keep(seats, bounds, levels)
            floors = floors if floors and value <= floors[position] else ()
        return Found(seats=seats, reached=level_values(self.tables, seats)[:levels], bounds=tuple(bounds))

    def _keep(self, seats: tuple[Seat, ...], bounds: list[int], levels: int) -> None:
        """What is there should the search be broken off now: the levels not yet looked at are bounded by nothing."""
        reached = level_values(self.tables, seats)[:levels]
        bounded = (*bounds, *(0 for _ in reached[len(bounds) :]))
        if self._so_far is None or reached <= self._so_far.reached:
            self._so_far = Found(seats=seats, reached=reached, bounds=bounded)

    def _told(self, found: Found, answer: ReserveAnswer) -> Found:
        """With what is not fine after a failure all the same."""
        return replace(found, undecided=answer.undecided, short_alone=answer.short_alone, stops=answer.stops)

    def _not_compared(self, seats: tuple[Seat, ...], levels: int) -> Found:
        """Seats of which nothing is known but that they are valid."""
        reached = level_values(self.tables, seats)[:levels]
        return Found(seats=seats, reached=reached, bounds=tuple(0 for _ in reached))

    def _fix(self, model: PlacementModel, level: str, value: int) -> None:
        if level in AMOUNTS:
            model.cp.add(amount(model, level) <= value)
        else:
            add_limit(model, model.cp, level, value)

    def _least_amount(
        self, model: PlacementModel, level: str, seats: tuple[Seat, ...], budget: _Budget
    ) -> tuple[tuple[Seat, ...], int]:
        """Seats with less at a level of AMOUNTS, and what nothing can be below."""
        position = LEVELS.index(level)
        self._hint(model, model.cp, seats)
        model.cp.minimize(amount(model, level))
        _, better = self._run(model.cp, budget)
        if better is None:
            model.cp.clear_objective()  # type: ignore[no-untyped-call]  # the library's own gap
            return seats, 0
        model.cp.clear_objective()  # type: ignore[no-untyped-call]  # the library's own gap
        found = model.seats(better)
        bound = ceil(better.best_objective_bound - _ROUNDING)
        value = level_values(self.tables, found)[position]
        if not bound <= value <= round(better.objective_value):
            raise OurFault.one(
                f"the level {level} is {value} by its definition",
                why=f"the search says {better.objective_value} and nothing below {bound}",
            )
        return found, bound

    def _least_limit(
        self, model: PlacementModel, level: str, seats: tuple[Seat, ...], budget: _Budget, floor: int
    ) -> tuple[tuple[Seat, ...], int]:
        """The same at a level of limits: limits are tried, the least that is thinkable first, then by halves."""
        position = LEVELS.index(level)
        value = level_values(self.tables, seats)[position]
        proven = min(value, max(floor, least_possible(model, level)))
        sought = trial = (
            proven  # below it nothing is looked for any more: excluded, or not decided in its time
        )
        while sought < value:
            attempt = model.cp.clone()
            add_limit(model, attempt, level, trial)
            self._hint(model, attempt, seats)
            share = _Budget(left_s=budget.left_s / _TRIALS)
            possible, solver = self._run(attempt, share)
            budget.left_s -= budget.left_s / _TRIALS - share.left_s
            if solver is not None:
                seats = model.seats(solver)
                value = level_values(self.tables, seats)[position]
                if value > trial:
                    raise OurFault.one(
                        f"the level {level} is {value} by its definition", why=f"{trial} was asked for"
                    )
            else:
                proven = trial + 1 if possible is False and sought == proven else proven
                sought = trial + 1
            self.progress(f"least {level}, so far {value}, none below {proven}")
            trial = (sought + value) // 2
        return seats, proven

    def _any(
        self, model: PlacementModel, *, share: float = 1.0
    ) -> tuple[bool | None, "cp_model.CpSolver | None"]:
        # Largest members first onto the first host that takes them, with backtracking, finds tight packings that the
        # solver's own strategy missed in five times as long; where it does not end soon, that one has the rest.
        limit_s = self._finding.left_s * share
        first = _Budget(left_s=limit_s * _FIRST_FIT_SHARE)
        rest = _Budget(left_s=limit_s * (1 - _FIRST_FIT_SHARE))
        answer = self._run(model.cp, first, first_fit=True)
        if answer[0] is None:
            answer = self._run(model.cp, rest)
        self._finding.left_s -= limit_s - max(0.0, first.left_s) - max(0.0, rest.left_s)
        return answer

    def _run(
        self, cp: "cp_model.CpModel", budget: _Budget, *, first_fit: bool = False
    ) -> tuple[bool | None, "cp_model.CpSolver | None"]:
        from ortools.sat.python import cp_model

        if budget.left_s <= 0:
            return None, None
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.seed
        solver.parameters.max_deterministic_time = budget.left_s
        if first_fit:
            solver.parameters.search_branching = cp_model.FIXED_SEARCH
        if len(cp.proto.variables) > _MANY_VARIABLES:
            # What is worth its time on small models uses up the whole limit here (tried): they are solved without.
            solver.parameters.cp_model_probing_level = 0
            solver.parameters.symmetry_level = 0
            solver.parameters.linearization_level = 0
        status = solved(solver, cp)
        budget.left_s -= solver.response_proto.deterministic_time
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return True, solver
        if status == cp_model.INFEASIBLE:
            return False, None
        if status == cp_model.UNKNOWN:
            return None, None
        raise OurFault.one("the placement's constraint model is not valid", why=cp.validate())

    def _hint(self, model: PlacementModel, cp: "cp_model.CpModel", seats: tuple[Seat, ...]) -> None:
        cp.clear_hints()  # type: ignore[no-untyped-call]  # the library's own gap
        for variable, value in model.values_of(seats):
            cp.add_hint(variable, value)
