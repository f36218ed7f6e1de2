"""The restart test: when these hosts and pools fail, does every displaced machine find a host among the survivors?

Machines that still run are not moved. A walk, first-fit, counting, packing patterns among like hosts, and a constraint solver, in
the order of what they cost; what none of them decides is undecided, never fine. Which scenarios matter is scenario.py's, what
follows for a cluster survival's.
"""

from collections.abc import Callable, Iterable, Sequence, Set
from typing import Final

from staddle.failures.arrays import Arrays, Ground
from staddle.failures.counting import refute
from staddle.failures.firstfit import first_fit, in_order, largest_first, quick_fit
from staddle.failures.outcome import CannotRestart, Restarted, RestartOutcome, RestartUndecided
from staddle.failures.pattern import solve_patterns
from staddle.failures.question import Question, displaced_rows
from staddle.failures.restart_cp import Undecided, solve_cp
from staddle.failures.running import Running, Stand
from staddle.failures.walk import walk_fit
from staddle.kernel import InputRefused

__all__ = ["CannotRestart", "RestartOutcome", "RestartTest", "RestartUndecided", "Restarted"]

LIMIT_S: Final = 0.5
"""Deterministic seconds of the constraint solver for one scenario, unless the caller says otherwise (tried, no source)."""


class RestartTest:
    """The machines and hosts of one estate, ready for many scenarios. Can be pickled.

    Args: machines: each stands on one of ``stands``; limit_s: deterministic seconds of the constraint solver for one scenario;
        lost_hold: a machine that lost its disk still holds its memory and cores on a host that stands; otherwise it is
        taken as stopped.
    Raises: InputRefused: two of one name, or a machine on a host that is not there.
    """

    def __init__(
        self,
        machines: Sequence[Running],
        stands: Sequence[Stand],
        *,
        limit_s: float = LIMIT_S,
        lost_hold: bool = True,
    ) -> None:
        self.ground: Final = Ground(stands)
        self.arrays: Final = Arrays(machines, self.ground)
        self.limit_s: Final = limit_s
        self.lost_hold: Final = lost_hold
        self._last: tuple[frozenset[str], tuple[Running, ...], Arrays] = (frozenset(), (), self.arrays)

    def restart(
        self,
        failed_hosts: Iterable[str],
        failed_pools: Iterable[str] = (),
        *,
        without: Iterable[str] = (),
        extra: Sequence[Running] = (),
    ) -> RestartOutcome:
        """Whether all that is displaced restarts, and where.

        Displaced is what stands on a failed host and has no disk in a failed pool; the latter is lost. A displaced machine
        needs a surviving host with all its pools and networks, its CPU level, its site, a NUMA node large enough, memory
        and cores left; keep-apart and keep-together groups hold. A lost machine keeps what it held on a surviving host (see lost_hold).

        Args: without: names of machines left out; extra: machines added, each on its host.
        Raises: InputRefused: an unknown host, an unknown machine to leave out, or a doubled one.
        """
        return self.restart_of(self.question(failed_hosts, failed_pools, without=without, extra=extra))

    def restart_of(self, question: Question) -> RestartOutcome:
        """The same for a question that was put together before."""
        if not len(question):
            return Restarted(seats=())
        at = walk_fit(question, start=max(question.failed) + 1)
        if at is None:
            at = first_fit(question, largest_first(question), tightest=True)
        if at is not None:
            return Restarted(seats=question.seats(at))
        reason = refute(question)
        if reason is not None:
            return _cannot(question, reason)
        at = quick_fit(question)
        if at is not None:
            return Restarted(seats=question.seats(at))
        limits = []
        for solve, proof in self._solvers():
            answer = solve(question)
            if answer is None:
                return _cannot(question, proof)
            if not isinstance(answer, Undecided):
                return Restarted(seats=question.seats(answer))
            limits.append(answer.limit)
        left = _greedy(question)
        return RestartUndecided(
            limit="; ".join(limits), machines=question.machines_without(left), seats=question.seats(left)
        )

    def refuted(self, question: Question, *, limit_s: float) -> bool:
        """Whether it is proven, in little time, that not all of it restarts; False says nothing.

        For questions of which there are many, and of which no answer is lost by not having it.

        Args: limit_s: deterministic seconds of the constraint solver.
        """
        if not len(question) or walk_fit(question, start=max(question.failed) + 1) is not None:
            return False
        if refute(question) is not None:
            return True
        return quick_fit(question) is None and solve_cp(question, limit_s=limit_s) is None

    def _solvers(self) -> tuple[tuple[Callable[[Question], list[int] | Undecided | None], str], ...]:
        return (
            (solve_patterns, "packing patterns have shown that no choice of hosts takes all of them"),
            (
                lambda question: solve_cp(question, limit_s=self.limit_s),
                "the constraint solver has shown that no choice of hosts takes all of them",
            ),
        )

    def lost(
        self,
        failed_hosts: Iterable[str],
        failed_pools: Iterable[str] = (),
        *,
        without: Iterable[str] = (),
        extra: Sequence[Running] = (),
    ) -> tuple[str, ...]:
        """The machines with a disk in a failed pool, in the order given. They do not restart anywhere.

        Raises: InputRefused: as restart.
        """
        arrays = self._arrays(without, extra)
        rows = displaced_rows(arrays, self.positions(failed_hosts), frozenset(failed_pools))[1]
        return tuple(arrays.names[row] for row in rows.tolist())

    def question(
        self,
        failed_hosts: Iterable[str],
        failed_pools: Iterable[str] = (),
        *,
        without: Iterable[str] = (),
        extra: Sequence[Running] = (),
    ) -> Question:
        """What this scenario asks, before anything is tried. Raises: InputRefused: as restart."""
        return self.ask(self.positions(failed_hosts), frozenset(failed_pools), self._arrays(without, extra))

    def ask(
        self, failed_hosts: Sequence[int], failed_pools: Set[str], arrays: Arrays | None = None
    ) -> Question:
        """The same for hosts by their positions; ``arrays`` other than the test's own where machines were changed."""
        return Question(
            self.arrays if arrays is None else arrays, failed_hosts, failed_pools, lost_hold=self.lost_hold
        )

    def positions(self, hosts: Iterable[str]) -> list[int]:
        """Where these hosts stand among all, in order. Raises: InputRefused: an unknown one."""
        names = tuple(hosts)
        unknown = [name for name in names if name not in self.ground.host_at]
        if unknown:
            raise InputRefused.one(
                f'"{unknown[0]}" is no host of the estate', mend="name one that stands in its tables"
            )
        return sorted({self.ground.host_at[name] for name in names})

    def _arrays(self, without: Iterable[str], extra: Sequence[Running]) -> Arrays:
        # Many scenarios are asked of the same machines one after the other: the last change is kept.
        left_out, added = frozenset(without), tuple(extra)
        if not left_out and not added:
            return self.arrays
        if self._last[:2] != (left_out, added):
            self._last = (left_out, added, self.arrays.changed(left_out, added))
        return self._last[2]


def _cannot(question: Question, reason: str) -> CannotRestart:
    left = _greedy(question)
    return CannotRestart(machines=question.machines_without(left), reason=reason, seats=question.seats(left))


def _greedy(question: Question) -> list[int]:
    at = first_fit(question, in_order(question), tightest=True, go_on=True)
    return [] if at is None else at
