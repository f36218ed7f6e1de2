"""Every two scenarios failed at once: which pairs restart. Millions of pairs, so nearly all are decided without a test.

1. A way of the one and a way of the other that take room on no common host beyond what it has, and nothing on a host of
   the other, are together a restart: the pair restarts.
2. What cannot restart alone cannot with fewer hosts and more to restart either: the pair cannot. This does not hold where
   the other failure takes a disk of the displaced (they are lost, and need no room), or where the two displace machines
   of one keep-together group; those pairs are tested.
3. Counting over the hosts of each reach class, for all pairs at once.
4. What is left is tested pair by pair with first-fit and counting, and then, for some, with the solvers. The rest is undecided
   and counted as that.

Chunks go through any ``concurrent.futures.Executor``; without one, one after the other.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial
from typing import Final, TypeVar

import numpy as np
import numpy.typing as npt

from staddle.failures.arrays import NONE, Ints
from staddle.failures.outcome import CannotRestart, Restarted
from staddle.failures.paircounts import PairCounts
from staddle.failures.question import displaced_rows
from staddle.failures.restart import RestartTest
from staddle.failures.scenario import Scenario
from staddle.failures.ways import Alone, Verdict, Way, quick_verdict, try_alone

__all__ = ["MOST_SOLVED", "MOST_TESTED", "PairTable", "decide_alone", "decide_pairs"]

MOST_TESTED: Final = 30_000
"""Pairs tested one by one: what two cores do within the minute that a sweep may take (measured)."""
MOST_SOLVED: Final = 20
"""Of those left open, so many are given to the solvers, which may take seconds each."""
_CHUNKS: Final = 16
_ROWS_A_TIME: Final = 200_000

_T = TypeVar("_T")
Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class PairTable:
    """The verdict of every two scenarios. ``verdicts`` is square; only what is right of the diagonal says something.

    ``decided`` counts the pairs by what decided them, in words.
    """

    alone: tuple[Alone, ...]
    verdicts: npt.NDArray[np.int8]
    decided: tuple[tuple[str, int], ...]

    def count(self, verdict: Verdict) -> int:
        """How many pairs end so."""
        return int(np.count_nonzero(np.triu(self.verdicts == verdict, 1)))

    def pairs(self, verdict: Verdict) -> Iterator[tuple[int, int]]:
        """The pairs that end so, as positions, in order."""
        rows, columns = np.nonzero(np.triu(self.verdicts == verdict, 1))
        yield from zip(rows.tolist(), columns.tolist(), strict=True)


def decide_alone(
    test: RestartTest, scenarios: Sequence[Scenario], *, executor: Executor | None = None
) -> tuple[Alone, ...]:
    """Every scenario alone, with the ways in which it restarts, in order."""
    failing = [(test.positions(one.hosts), frozenset(one.pools)) for one in scenarios]
    chunks = _mapped(partial(_alone_chunk, test), list(_chunks(failing)), executor)
    return tuple(one for chunk in chunks for one in chunk)


def decide_pairs(
    test: RestartTest,
    scenarios: Sequence[Scenario],
    *,
    executor: Executor | None = None,
    most_tested: int = MOST_TESTED,
    most_solved: int = MOST_SOLVED,
    progress: Callable[[str], None] = lambda _: None,
) -> PairTable:
    """The verdict of every two of the scenarios failed at once.

    Args: executor: takes chunks of work; most_tested: pairs tested one by one; most_solved: of these, pairs given to the
        solvers when first-fit and counting left them open.
    Raises: InputRefused: a scenario with an unknown host.
    """
    progress(f"{len(scenarios)} failures alone")
    alone = decide_alone(test, scenarios, executor=executor)
    sweep = _Sweep(test, scenarios, alone)
    progress(f"{len(scenarios) * (len(scenarios) - 1) // 2} pairs of failures")
    sweep.by_ways()
    sweep.by_one_alone()
    sweep.by_counting()
    sweep.by_test(executor, most_tested, progress)
    sweep.by_solvers(executor, most_solved, progress)
    verdicts = np.where(sweep.open, np.int8(Verdict.UNDECIDED), sweep.verdicts)
    return PairTable(alone=alone, verdicts=verdicts, decided=tuple(sweep.decided.items()))


@dataclass(slots=True)
class _Sweep:
    """The pairs that are still open, and what was decided of the others."""

    test: RestartTest
    scenarios: Sequence[Scenario]
    alone: Sequence[Alone]
    open: Bools = field(init=False)
    verdicts: npt.NDArray[np.int8] = field(init=False)
    decided: dict[str, int] = field(init=False, default_factory=dict)
    failing: list[list[int]] = field(init=False)
    coupled: Bools = field(init=False)

    def __post_init__(self) -> None:
        count = len(self.scenarios)
        self.open = np.triu(np.ones((count, count), dtype=bool), 1)
        self.verdicts = np.zeros((count, count), dtype=np.int8)
        self.failing = [self.test.positions(one.hosts) for one in self.scenarios]
        self.coupled = self._coupled()

    def _close(self, pairs: Bools, verdict: Verdict, how: str) -> None:
        pairs = pairs & self.open
        self.verdicts[pairs] = verdict
        self.open &= ~pairs
        self.decided[how] = self.decided.get(how, 0) + int(np.count_nonzero(pairs))

    def _coupled(self) -> Bools:
        """Pairs that each touch a machine of one keep-together group: neither ways nor one alone decide them."""
        arrays, count = self.test.arrays, len(self.scenarios)
        coupled = np.zeros((count, count), dtype=bool)
        touching: dict[int, list[int]] = {}
        if arrays.rows_together:
            for number, hosts in enumerate(self.failing):
                rows = np.concatenate([arrays.rows_on[host] for host in hosts] or [np.zeros(0, dtype=int)])
                for group in np.unique(arrays.together_of[rows]).tolist():
                    if group != NONE:
                        touching.setdefault(group, []).append(number)
        for numbers in touching.values():
            coupled[np.ix_(numbers, numbers)] = True
        return coupled

    def by_ways(self) -> None:
        """Pairs of ways that leave each other alone."""
        most = max((len(one.ways) for one in self.alone), default=0)
        for first in range(most):
            for second in range(first, most):
                free = ~self._clash(first, second) & ~self.coupled
                self._close(free | free.T, Verdict.RESTARTS, "restarts that leave each other alone")
                if not self.open.any():
                    return

    def _clash(self, first: int, second: int) -> Bools:
        """Where the first-th way of the row and the second-th of the column get in each other's way, or are not there."""
        count, arrays = len(self.scenarios), self.test.arrays
        clash = np.zeros((count, count), dtype=bool)
        rows, columns = _users(self.alone, first), _users(self.alone, second)
        clash[[i for i, one in enumerate(self.alone) if len(one.ways) <= first], :] = True
        clash[:, [i for i, one in enumerate(self.alone) if len(one.ways) <= second]] = True
        dying: dict[int, list[int]] = {}
        for number, hosts in enumerate(self.failing):
            for host in hosts:
                dying.setdefault(host, []).append(number)
        for host in rows.keys() | columns.keys():
            here, there = rows.get(host), columns.get(host)
            gone = np.array(dying.get(host, []), dtype=np.int64)
            if here is not None and len(gone):
                clash[np.ix_(here[0], gone)] = True
            if there is not None and len(gone):
                clash[np.ix_(gone, there[0])] = True
            if here is not None and there is not None:
                over = here[1][:, None] + there[1][None, :] > arrays.left_bytes[host]
                over |= here[2][:, None] + there[2][None, :] > arrays.left_cores[host]
                if over.any():
                    at = np.nonzero(over)
                    clash[here[0][at[0]], there[0][at[1]]] = True
        holding, others = _holding(self.alone, first), _holding(self.alone, second)
        for key in holding.keys() & others.keys():
            clash[np.ix_(holding[key], others[key])] = True
        return clash

    def by_one_alone(self) -> None:
        """Pairs of which one cannot restart even alone."""
        count = len(self.scenarios)
        cannot = np.array([one.verdict is Verdict.CANNOT for one in self.alone], dtype=bool)
        pairs = np.zeros((count, count), dtype=bool)
        pairs[cannot, :] = True
        class_pools = self.test.ground.class_pools
        failing_pools = [(j, set(one.pools)) for j, one in enumerate(self.scenarios) if one.pools]
        for i in np.flatnonzero(cannot).tolist() if failing_pools else []:
            rows, _ = displaced_rows(self.test.arrays, self.failing[i], frozenset(self.scenarios[i].pools))
            classes = np.unique(self.test.arrays.class_of[rows]).tolist()
            needed = {pool for c in classes for pool in class_pools[c]}
            # Where lost machines are stopped, any failing pool gives room that was not there before.
            gives = [j for j, pools in failing_pools if pools & needed or not self.test.lost_hold]
            pairs[i, gives] = False
        self._close((pairs | pairs.T) & ~self.coupled, Verdict.CANNOT, "one of the two cannot restart alone")

    def by_counting(self) -> None:
        """Pairs that counting refutes; not those that share hosts or fail pools, where sums would count twice."""
        rows, columns = np.nonzero(self.open & ~self._entangled())
        if not len(rows):
            return
        counts = PairCounts(self.test.arrays, self.failing)
        refuted = np.zeros_like(self.open)
        for begin in range(0, len(rows), _ROWS_A_TIME):
            i, j = rows[begin : begin + _ROWS_A_TIME], columns[begin : begin + _ROWS_A_TIME]
            refuted[i, j] = counts.refute(i, j)
        self._close(refuted, Verdict.CANNOT, "counting")

    def _entangled(self) -> Bools:
        count = len(self.scenarios)
        entangled = np.zeros((count, count), dtype=bool)
        poolless = np.array([not one.pools for one in self.scenarios], dtype=bool)
        entangled[~poolless, :] = entangled[:, ~poolless] = True
        on: dict[int, list[int]] = {}
        for number, hosts in enumerate(self.failing):
            for host in hosts:
                on.setdefault(host, []).append(number)
        for numbers in on.values():
            if len(numbers) > 1:
                entangled[np.ix_(numbers, numbers)] = True
        return entangled

    def by_test(self, executor: Executor | None, most: int, progress: Callable[[str], None]) -> None:
        """Pairs one by one, with first-fit and counting."""
        self._one_by_one(executor, most, progress, _quick_chunk, "tested pair by pair")

    def by_solvers(self, executor: Executor | None, most: int, progress: Callable[[str], None]) -> None:
        """Some of those left open, with the solvers."""
        self._one_by_one(executor, most, progress, _solved_chunk, "solved pair by pair")

    def _one_by_one(
        self,
        executor: Executor | None,
        most: int,
        progress: Callable[[str], None],
        decide: Callable[[RestartTest, Sequence["Failing"]], list[int]],
        how: str,
    ) -> None:
        rows, columns = (positions[:most] for positions in np.nonzero(self.open))
        if not len(rows):
            return
        progress(f"{len(rows)} pairs one by one")
        failing = [
            (
                sorted({*self.failing[i], *self.failing[j]}),
                frozenset((*self.scenarios[i].pools, *self.scenarios[j].pools)),
            )
            for i, j in zip(rows.tolist(), columns.tolist(), strict=True)
        ]
        chunks = _mapped(partial(decide, self.test), list(_chunks(failing)), executor)
        verdicts = np.array([verdict for chunk in chunks for verdict in chunk], dtype=np.int8)
        for verdict in (Verdict.RESTARTS, Verdict.CANNOT):
            pairs = np.zeros_like(self.open)
            pairs[rows[verdicts == verdict], columns[verdicts == verdict]] = True
            self._close(pairs, verdict, how)


Failing = tuple[list[int], frozenset[str]]


def _alone_chunk(test: RestartTest, failing: Sequence[Failing]) -> list[Alone]:
    return [try_alone(test, hosts, pools) for hosts, pools in failing]


def _quick_chunk(test: RestartTest, failing: Sequence[Failing]) -> list[int]:
    return [int(quick_verdict(test.ask(hosts, pools))) for hosts, pools in failing]


def _solved_chunk(test: RestartTest, failing: Sequence[Failing]) -> list[int]:
    verdicts = []
    for hosts, pools in failing:
        outcome = test.restart_of(test.ask(hosts, pools))
        ends = Verdict.CANNOT if isinstance(outcome, CannotRestart) else Verdict.UNDECIDED
        verdicts.append(int(Verdict.RESTARTS if isinstance(outcome, Restarted) else ends))
    return verdicts


def _chunks(work: Sequence[Failing]) -> Iterator[Sequence[Failing]]:
    size = max(1, -(-len(work) // _CHUNKS))
    for begin in range(0, len(work), size):
        yield work[begin : begin + size]


def _mapped(
    do: Callable[[Sequence[Failing]], _T], chunks: Sequence[Sequence[Failing]], executor: Executor | None
) -> Iterable[_T]:
    return map(do, chunks) if executor is None or len(chunks) < 2 else executor.map(do, chunks)


def _users(alone: Sequence[Alone], number: int) -> dict[int, tuple[Ints, Ints, Ints]]:
    """For each host the scenarios whose way of that number takes something there, with bytes and cores."""
    ways: list[tuple[int, Way]] = [
        (i, one.ways[number]) for i, one in enumerate(alone) if len(one.ways) > number
    ]
    if not ways:
        return {}
    who = np.concatenate([np.full(len(way.hosts), i, dtype=np.int64) for i, way in ways])
    hosts = np.concatenate([way.hosts for _, way in ways])
    memory_bytes = np.concatenate([way.memory_bytes for _, way in ways])
    cores = np.concatenate([way.cores for _, way in ways])
    if not len(hosts):
        return {}
    order = np.argsort(hosts, kind="stable")
    at, begins = np.unique(hosts[order], return_index=True)
    ends = np.append(begins[1:], len(order))
    return {
        host: (
            who[order[begin:end]],
            memory_bytes[order[begin:end]],
            cores[order[begin:end]],
        )
        for host, begin, end in zip(at.tolist(), begins.tolist(), ends.tolist(), strict=True)
    }


def _holding(alone: Sequence[Alone], number: int) -> dict[tuple[int, int], list[int]]:
    """For each keep-apart group and host the scenarios whose way of that number puts one of the group there."""
    found: dict[tuple[int, int], list[int]] = {}
    for i, one in enumerate(alone):
        for key in one.ways[number].held if len(one.ways) > number else ():
            found.setdefault(key, []).append(i)
    return found
