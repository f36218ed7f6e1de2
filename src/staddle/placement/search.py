"""Level after level with the constraint solver: same problem, same limit, same answer.

One worker, a fixed start of its random choices and limits in the solver's deterministic time; no clock is read.
Not here: what the outcome means (solve.py), which groups are in conflict (conflict.py).
"""

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil
from typing import TYPE_CHECKING, Final

from staddle.kernel import OurFault
from staddle.placement.bounds import none_by_volume
from staddle.placement.cost import LEVELS, level_values
from staddle.placement.data import Tables
from staddle.placement.model import Seat
from staddle.placement.model_cp import PlacementModel
from staddle.placement.solving import solved

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["Found", "Search"]

# The share of the limit that one level may use at most; what a level leaves is not handed on. The last one only
# decides between equally good answers.
_SHARES: Final = {
    "shared fate": 0.4,
    "movement": 0.1,
    "host fill": 0.2,
    "pool fill": 0.1,
    "table order": 0.05,
}
_FIRST_FIT_SHARE: Final = 0.3
_ROUNDING: Final = 1e-6  # bounds are whole numbers that the solver hands out as floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """Seats, and for each level of cost.LEVELS in order what was reached and what nothing can be below."""

    seats: tuple[Seat, ...]
    reached: tuple[int, ...]
    bounds: tuple[int, ...]


class Search:
    """One search. Args: limit_s: deterministic seconds; seed: start of the solver's random choices."""

    def __init__(self, tables: Tables, *, limit_s: float, seed: int, progress: Callable[[str], None]) -> None:
        self.tables: Final = tables
        self.limit_s: Final = limit_s
        self.seed: Final = seed
        self.progress: Final = progress

    def possible(self, active: frozenset[str]) -> bool | None:
        """Whether seats exist under these groups of rules; None when the limit ended first."""
        if none_by_volume(self.tables.problem, active):
            return False
        return self._any(PlacementModel(self.tables, active))[0]

    def best(self, levels: int = len(LEVELS)) -> Found | bool | None:
        """The best seats by the first so many levels; False when none exist, None when the limit ended first."""
        active = frozenset(group.name for group in self.tables.groups)
        if none_by_volume(self.tables.problem, active):
            return False
        self.progress("looking for any placement")
        model = PlacementModel(self.tables, active)
        possible, solver = self._any(model)
        if solver is None:
            return possible
        seats = self._seats(model, solver)
        bounds: list[int] = []
        for position, level in enumerate(LEVELS[:levels]):
            expression = model.level_expression(level)
            value = bound = level_values(self.tables, seats)[position]
            if value > 0:  # nothing is below 0 on any level, so that 0 needs no proof
                self._hint(model, solver)
                model.cp.minimize(expression)
                self.progress(f"least {level}")
                _, better = self._run(model, self.limit_s * _SHARES[level])
                bound = 0
                if better is not None:
                    solver, seats = better, self._seats(model, better)
                    bound = ceil(solver.best_objective_bound - _ROUNDING)
                    value = level_values(self.tables, seats)[position]
                    if not bound <= value <= round(solver.objective_value):
                        raise OurFault.one(
                            f"the level {level} is {value} by its definition",
                            why=f"the search says {solver.objective_value} and nothing below {bound}",
                        )
            bounds.append(bound)
            model.cp.add(expression <= value)
        reached = level_values(self.tables, seats)[:levels]
        return Found(seats=seats, reached=reached, bounds=tuple(bounds))

    def _any(self, model: PlacementModel) -> tuple[bool | None, "cp_model.CpSolver | None"]:
        # Largest members first onto the first host that takes them, with backtracking, finds tight packings that the
        # solver's own strategy missed in five times as long; where it does not end soon, that one has the rest.
        answer = self._run(model, self.limit_s * _FIRST_FIT_SHARE, first_fit=True)
        return self._run(model, self.limit_s * (1 - _FIRST_FIT_SHARE)) if answer[0] is None else answer

    def _run(
        self, model: PlacementModel, limit_s: float, *, first_fit: bool = False
    ) -> tuple[bool | None, "cp_model.CpSolver | None"]:
        from ortools.sat.python import cp_model

        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = self.seed
        solver.parameters.max_deterministic_time = limit_s
        if first_fit:
            solver.parameters.search_branching = cp_model.FIXED_SEARCH
        status = solved(solver, model.cp)
        if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return True, solver
        if status == cp_model.INFEASIBLE:
            return False, None
        if status == cp_model.UNKNOWN:
            return None, None
        raise OurFault.one("the placement's constraint model is not valid", why=model.cp.validate())

    def _hint(self, model: PlacementModel, solver: "cp_model.CpSolver") -> None:
        model.cp.clear_hints()  # type: ignore[no-untyped-call]  # the library's own gap
        for variable in (*model.stands.values(), *model.keeps.values()):
            model.cp.add_hint(variable, solver.value(variable))

    def _seats(self, model: PlacementModel, solver: "cp_model.CpSolver") -> tuple[Seat, ...]:
        problem = self.tables.problem
        hosts = {i: problem.hosts[h].name for (i, h), v in model.stands.items() if solver.boolean_value(v)}
        pools = {
            (i, k): problem.pools[q].name for (i, k, q), v in model.keeps.items() if solver.boolean_value(v)
        }
        return tuple(
            Seat(
                member=member.name,
                host=hosts[i],
                disks=tuple((disk.disk_id, pools[i, k]) for k, disk in enumerate(member.disks)),
            )
            for i, member in enumerate(problem.members)
        )
