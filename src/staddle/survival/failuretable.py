"""The failure table: every single failure, every two hosts, and what the design names, worst first.

Millions of pairs are counted by state and by restart (failures/pairs.py) and only the worst of them judged in full.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from itertools import combinations, islice
from typing import Final

from staddle.failures.pairs import PairTable, decide_pairs
from staddle.failures.reachable import cut_off
from staddle.failures.scenario import Scenario
from staddle.failures.ways import Verdict
from staddle.survival.judge import ALL, SOME, UNDECIDED, Judge, Judgement
from staddle.survival.serving import State

__all__ = ["Ask", "Asked", "Doubles", "FailureTable", "failure_table"]

_MOST_SHOWN: Final = 10
_MOST_COMBINATIONS: Final = 20_000
"""Scenarios of one sentence of the design that are judged; of more, the first so many, and that is said."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One sentence of the design: scenarios judged, of how many, and how many of them the cluster does not outlive.

    ``fails`` are those, worst first; of pairs of hosts some of the worst.
    """

    sentence: str
    judged: int
    of: int
    failing: int
    undecided: int
    fails: tuple[Judgement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One sentence to judge: how many scenarios it means, these, and whether they are every two hosts.

    ``others_restart``: guests of others must restart too, not only what is ours.
    """

    sentence: str
    count: int
    scenarios: Iterator[Scenario]
    two_hosts: bool = False
    others_restart: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubles:
    """Every two hosts failed together, counted.

    ``states``: pairs by the cluster's state at once; ``restarts``: pairs by whether all that is displaced restarts;
    ``decided``: pairs by what decided the restart. ``worst`` are some of the worst, judged.
    """

    pairs: int
    states: tuple[tuple[str, int], ...]
    restarts: tuple[tuple[str, int], ...]
    decided: tuple[tuple[str, int], ...]
    worst: tuple[Judgement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FailureTable:
    """``singles`` worst first; ``doubles`` None where they were not asked or there are fewer than two hosts."""

    singles: tuple[Judgement, ...]
    doubles: Doubles | None
    asked: tuple[Asked, ...]


def failure_table(
    judge: Judge,
    singles: Sequence[Scenario],
    *,
    asked: Sequence[Ask],
    with_doubles: bool = True,
    executor: Executor | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> FailureTable:
    """Judge every scenario. Args: singles: each domain failed alone; asked: the design's sentences.

    Raises: InputRefused: a scenario with an unknown host.
    """
    progress(f"{len(singles)} single failures")
    known = {(one.hosts, one.pools): judge.judge(one) for one in singles}
    found = [replace(known[one.hosts, one.pools], scenario=one) for one in singles]
    hosts = [one for one in singles if len(one.domains) == 1 and one.domains[0][0] == "host"]
    pairs = _Pairs(judge, hosts, executor, progress) if with_doubles and len(hosts) > 1 else None
    rows = []
    for ask in asked:
        if ask.two_hosts and ask.others_restart and pairs is not None:
            rows.append(pairs.asked(ask.sentence))
        else:
            judged = [
                known.get((one.hosts, one.pools)) or judge.judge(one)
                for one in islice(ask.scenarios, _MOST_COMBINATIONS)
            ]
            rows.append(_asked(ask, judged, {member.name for member in judge.members}))
    return FailureTable(
        singles=_worst_first(found),
        doubles=None if pairs is None else pairs.doubles(),
        asked=tuple(rows),
    )


def _worst_first(judged: Iterable[Judgement]) -> tuple[Judgement, ...]:
    return tuple(sorted(judged, key=lambda one: one.badness, reverse=True))


def _asked(ask: Ask, judged: Sequence[Judgement], ours: set[str]) -> Asked:
    counting = [
        replace(one, restarts=ALL)
        if not ask.others_restart and not ours.intersection(one.not_restarted)
        else one
        for one in judged
    ]
    fails = [one for one in counting if one.at_once is State.DOWN or one.restarts == SOME]
    return Asked(
        sentence=ask.sentence,
        judged=len(judged),
        of=ask.count,
        failing=len(fails),
        undecided=sum(one.restarts == UNDECIDED and one.at_once is not State.DOWN for one in counting),
        fails=_worst_first(fails),
    )


_VERDICTS: Final = {ALL: Verdict.RESTARTS, SOME: Verdict.CANNOT, UNDECIDED: Verdict.UNDECIDED}


class _Pairs:
    """Every two hosts, decided once and told twice: as the table of doubles, and as what the design asks."""

    def __init__(
        self,
        judge: Judge,
        hosts: Sequence[Scenario],
        executor: Executor | None,
        progress: Callable[[str], None],
    ) -> None:
        self.table: Final = decide_pairs(judge.test, hosts, executor=executor, progress=progress)
        self._stands: Final = judge.test.ground.stands
        for i, j in self._cutting_off(hosts):
            self.table.verdicts[i, j] = _VERDICTS[judge.judge(self._both(hosts[i], hosts[j])).restarts]
        self.count: Final = len(hosts) * (len(hosts) - 1) // 2
        taken = [_ours_down(judge, one) for one in hosts]
        self.states: Final = _states(judge, taken)
        self.touching: Final = _touching(judge, taken)
        self.worst: Final = _worst_first(
            judge.judge(self._both(hosts[i], hosts[j]))
            for i, j in islice(_worst_pairs(self.table, self.touching), _MOST_SHOWN)
        )

    def _both(self, one: Scenario, other: Scenario) -> Scenario:
        return cut_off((_together(one, other),), self._stands)[0]

    def _cutting_off(self, hosts: Sequence[Scenario]) -> Iterator[tuple[int, int]]:
        """The pairs of which both reach a pool that no other host does: what has a disk there is lost, not displaced."""
        at = {one.hosts[0]: number for number, one in enumerate(hosts)}
        reaching: dict[str, list[int]] = {}
        for stand in self._stands:
            for pool in stand.pools:
                reaching.setdefault(pool, []).append(at[stand.name])
        for two in dict.fromkeys(tuple(sorted(who)) for who in reaching.values() if len(who) == 2):
            yield two[0], two[1]

    def doubles(self) -> Doubles:
        """Counted, with some of the worst."""
        words = {verdict: word for word, verdict in _VERDICTS.items()}
        return Doubles(
            pairs=self.count,
            states=tuple((state.value, self.states[state]) for state in State),
            restarts=tuple((word, self.table.count(verdict)) for verdict, word in words.items()),
            decided=self.table.decided,
            worst=self.worst,
        )

    def asked(self, sentence: str) -> Asked:
        """The same for a sentence that means every two hosts."""
        verdicts = Counter(int(self.table.verdicts[pair]) for pair in self.touching[State.DOWN])
        down = len(self.touching[State.DOWN])
        return Asked(
            sentence=sentence,
            judged=self.count,
            of=self.count,
            failing=down + self.table.count(Verdict.CANNOT) - verdicts[Verdict.CANNOT],
            undecided=self.table.count(Verdict.UNDECIDED) - verdicts[Verdict.UNDECIDED],
            fails=tuple(one for one in self.worst if one.at_once is State.DOWN or one.restarts == SOME),
        )


def _ours_down(judge: Judge, scenario: Scenario) -> frozenset[str]:
    """The members that are not there once the scenario has happened, lost or displaced."""
    if not judge.members:
        return frozenset()
    question = judge.test.question(scenario.hosts, scenario.pools)
    names = {judge.test.arrays.names[row] for row in question.displaced.tolist()}
    names |= {*judge.test.lost(scenario.hosts, scenario.pools)}
    return frozenset(member.name for member in judge.members if member.name in names)


def _states(judge: Judge, down: Sequence[frozenset[str]]) -> Counter[State]:
    # Most hosts take nothing of ours, and many take the same: pairs are counted by what the two take.
    alike = Counter(down)
    states: Counter[State] = Counter()
    for taken, count in alike.items():
        states[_state_without(judge, taken)] += count * (count - 1) // 2
    for one, other in combinations(alike, 2):
        states[_state_without(judge, one | other)] += alike[one] * alike[other]
    return states


def _state_without(judge: Judge, taken: frozenset[str]) -> State:
    return judge.state([member for member in judge.members if member.name not in taken])


def _touching(judge: Judge, down: Sequence[frozenset[str]]) -> dict[State, list[tuple[int, int]]]:
    """The pairs that take something of ours, by the cluster's state at once."""
    taking = [number for number, taken in enumerate(down) if taken]
    pairs = [
        *combinations(taking, 2),
        *((min(i, j), max(i, j)) for i in taking for j in range(len(down)) if not down[j]),
    ]
    by_state: dict[State, list[tuple[int, int]]] = {state: [] for state in State}
    for i, j in pairs:
        by_state[_state_without(judge, down[i] | down[j])].append((i, j))
    return by_state


def _worst_pairs(
    table: PairTable, touching: Mapping[State, Sequence[tuple[int, int]]]
) -> Iterator[tuple[int, int]]:
    """Pairs in falling badness: the cluster down, then not all restarting, then undecided, then degraded."""
    seen: set[tuple[int, int]] = set()
    falling: tuple[Iterable[tuple[int, int]], ...] = (
        sorted(touching[State.DOWN], key=lambda pair: (-int(table.verdicts[pair] == Verdict.CANNOT), pair)),
        table.pairs(Verdict.CANNOT),
        table.pairs(Verdict.UNDECIDED),
        touching[State.DEGRADED],
    )
    for group in falling:
        for pair in group:
            if pair not in seen:
                seen.add(pair)
                yield pair


def _together(one: Scenario, other: Scenario) -> Scenario:
    return Scenario(
        name=f"{one.name} + {other.name}",
        hosts=tuple(dict.fromkeys((*one.hosts, *other.hosts))),
        pools=tuple(dict.fromkeys((*one.pools, *other.pools))),
        domains=tuple(dict.fromkeys((*one.domains, *other.domains))),
    )
