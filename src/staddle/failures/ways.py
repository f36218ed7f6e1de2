"""One scenario tried alone: whether it restarts, and several ways in which it does, each with what it takes where.

A way is a restart that was found, so that two ways which do not get in each other's way are a restart of both scenarios
at once (pairs.py). They are spread on purpose: walks round the hosts from different ones.
"""

from collections.abc import Sequence, Set
from dataclasses import dataclass
from enum import IntEnum
from typing import Final

import numpy as np

from staddle.failures.arrays import NONE, Ints
from staddle.failures.counting import refute
from staddle.failures.firstfit import first_fit, largest_first, quick_fit
from staddle.failures.outcome import CannotRestart, Restarted
from staddle.failures.question import Question
from staddle.failures.restart import RestartTest
from staddle.failures.walk import walk_fit

__all__ = ["Alone", "Verdict", "Way", "quick_verdict", "try_alone"]

_WAYS: Final = 3
"""Walks begun in so many places; with three of each, hardly a pair is left over at 85 % full (measured)."""


class Verdict(IntEnum):
    """How a restart test ends, for tables of many; the reasons are restart's."""

    RESTARTS = 0
    CANNOT = 1
    UNDECIDED = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What a restart takes: for each host that takes something, bytes and thousandths of a core; keep-apart groups there."""

    hosts: Ints
    memory_bytes: Ints
    cores: Ints
    held: frozenset[tuple[int, int]] = frozenset()  # (group, host)


@dataclass(frozen=True, slots=True, kw_only=True)
class Alone:
    """One scenario: its verdict, and the ways in which it restarts; () where none was found."""

    verdict: Verdict
    ways: tuple[Way, ...]


def try_alone(test: RestartTest, failed_hosts: Sequence[int], failed_pools: Set[str]) -> Alone:
    """The scenario's verdict and ways. Args: failed_hosts: positions in the test's hosts."""
    question = test.ask(failed_hosts, failed_pools)
    if not len(question):
        nothing = np.zeros(0, dtype=np.int64)
        return Alone(
            verdict=Verdict.RESTARTS, ways=(Way(hosts=nothing, memory_bytes=nothing, cores=nothing),)
        )
    count = len(test.ground.stands)
    first = max(failed_hosts) + 1
    found = [walk_fit(question, start=first + turn * count // _WAYS) for turn in range(_WAYS)]
    if None in found:
        sequence = largest_first(question)
        found += [
            first_fit(question, sequence, tightest=False, start=(first + turn * count // _WAYS) % count)
            for turn in range(_WAYS)
            if found[turn] is None
        ]
    ways = tuple({way.hosts.tobytes(): way for way in (_way(question, at) for at in found if at)}.values())
    if ways:
        return Alone(verdict=Verdict.RESTARTS, ways=ways)
    outcome = test.restart_of(question)
    if isinstance(outcome, Restarted):
        host_at = test.ground.host_at
        seats = dict(outcome.seats)
        at = [host_at[seats[test.arrays.names[item[0]]]] for item in question.items]
        return Alone(verdict=Verdict.RESTARTS, ways=(_way(question, at),))
    cannot = isinstance(outcome, CannotRestart)
    return Alone(verdict=Verdict.CANNOT if cannot else Verdict.UNDECIDED, ways=())


def quick_verdict(question: Question) -> Verdict:
    """By counting and first-fit alone, which cost milliseconds; UNDECIDED says that the solvers were not asked."""
    if not len(question) or walk_fit(question, start=max(question.failed) + 1) is not None:
        return Verdict.RESTARTS
    if first_fit(question, largest_first(question), tightest=True) is not None:
        return Verdict.RESTARTS
    if refute(question) is not None:
        return Verdict.CANNOT
    return Verdict.RESTARTS if quick_fit(question) is not None else Verdict.UNDECIDED


def _way(question: Question, at: Sequence[int]) -> Way:
    there = np.array(at, dtype=np.int64)
    if (there == NONE).any():
        raise AssertionError("a way seats every item")
    hosts, place = np.unique(there, return_inverse=True)
    memory_bytes, cores = np.zeros(len(hosts), dtype=np.int64), np.zeros(len(hosts), dtype=np.int64)
    np.add.at(memory_bytes, place, question.memory_bytes)
    np.add.at(cores, place, question.cores[np.arange(len(question)), question.rate_of[there]])
    held = frozenset(
        (group, host) for groups, host in zip(question.apart, at, strict=True) for group in groups
    )
    return Way(hosts=hosts, memory_bytes=memory_bytes, cores=cores, held=held)
