"""Whether hosts may be emptied while all else runs: moves in their order, what is then left, and the next failure.

The same rules decide as after a failure (failures/restart.py), with nothing failed: what has a disk inside such a host
cannot leave it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from staddle.failures.firstfit import first_fit, largest_first
from staddle.failures.outcome import CannotRestart, Restarted, RestartOutcome
from staddle.failures.reachable import cut_off
from staddle.failures.restart import RestartTest
from staddle.failures.running import Running, Stand
from staddle.failures.scenario import Scenario
from staddle.survival.judge import ALL, SOME, UNDECIDED, Judge, Judgement, reason_of
from staddle.survival.serving import Ours, State
from staddle.survival.times import COMMON_PRACTICE, Times

__all__ = ["Evacuation", "Left", "Move", "evacuate"]

LIVE, RESTART = "live", "restart"


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One machine to move. ``how``: live between hosts of one CPU level that is known, else with a restart."""

    machine: str
    from_host: str
    to_host: str
    memory_bytes: int
    how: str
    ours: bool
    choices: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What one of the other hosts has left once all have moved."""

    host: str
    memory_bytes: int
    of_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Evacuation:
    """The answer. ``may`` is "all restart" where every machine finds a host; then ``moves`` are in their order.

    ``left`` is what the other hosts have, the fullest first; ``next_failures`` are those single failures that would not be
    outlived while the hosts are empty, worst first, of ``judged``. ``only_then`` are the names of those that are outlived
    as it stands now.
    """

    hosts: tuple[str, ...]
    may: str
    reason: str
    staying: tuple[str, ...]
    moves: tuple[Move, ...]
    left: tuple[Left, ...]
    next_failures: tuple[Judgement, ...]
    only_then: tuple[str, ...]
    judged: int


def evacuate(
    machines: Sequence[Running],
    stands: Sequence[Stand],
    hosts: Sequence[str],
    *,
    members: tuple[Ours, ...] = (),
    least_data: int = 0,
    next_failures: Sequence[Scenario] = (),
    times: Times = COMMON_PRACTICE,
) -> Evacuation:
    """Whether these hosts may be emptied, and what then.

    The machines that have fewest hosts to choose from go first, of as many the largest: while there is most room.

    Args: next_failures: single failures to judge once they are empty; what they fail of the emptied hosts fails nothing.
    Raises: InputRefused: an unknown host.
    """
    test = RestartTest(machines, stands)
    outcome = _spread(test, hosts)
    emptied = tuple(dict.fromkeys(hosts))
    if not isinstance(outcome, Restarted):
        cannot = isinstance(outcome, CannotRestart)
        return Evacuation(
            hosts=emptied,
            may=SOME if cannot else UNDECIDED,
            reason=reason_of(outcome),
            staying=outcome.machines,
            moves=(),
            left=(),
            next_failures=(),
            only_then=(),
            judged=0,
        )
    to = dict(outcome.seats)
    standing = tuple(stand for stand in stands if stand.name not in emptied)
    moved = [replace(m, host=to[m.name]) if m.name in to else m for m in machines]
    after = RestartTest(moved, standing)
    judge = Judge(after, members, least_data=least_data, times=times)
    known = {stand.name for stand in standing}
    remaining = [
        replace(one, hosts=tuple(host for host in one.hosts if host in known)) for one in next_failures
    ]
    remaining = [one for one in remaining if one.hosts or one.pools]
    judged = [judge.judge(one) for one in cut_off(remaining, standing)]
    bad = [one for one in judged if not _outlived(one)]
    now = Judge(test, members, least_data=least_data, times=times)
    whole = {one.name: one for one in next_failures}
    return Evacuation(
        hosts=emptied,
        may=ALL,
        reason="",
        staying=(),
        moves=_moves(test, machines, stands, emptied, to),
        left=_left(after, standing),
        next_failures=tuple(sorted(bad, key=lambda one: one.badness, reverse=True)),
        only_then=tuple(one.scenario.name for one in bad if _outlived(now.judge(whole[one.scenario.name]))),
        judged=len(judged),
    )


def _outlived(one: Judgement) -> bool:
    return one.at_once is not State.DOWN and one.restarts == ALL


def _spread(test: RestartTest, hosts: Sequence[str]) -> RestartOutcome:
    """Onto the roomiest hosts where that goes, so that room for the next failure is left on many; else as it goes."""
    question = test.question(hosts)
    at = first_fit(question, largest_first(question), roomiest=True)
    return test.restart_of(question) if at is None else Restarted(seats=question.seats(at))


def _moves(
    test: RestartTest,
    machines: Sequence[Running],
    stands: Sequence[Stand],
    emptied: tuple[str, ...],
    to: dict[str, str],
) -> tuple[Move, ...]:
    question = test.question(emptied)
    choices = {
        test.arrays.names[row]: len(question.takers(number))
        for number, item in enumerate(question.items)
        for row in item
    }
    levels = {stand.name: stand.cpu_level for stand in stands}
    moves = [
        Move(
            machine=m.name,
            from_host=m.host,
            to_host=to[m.name],
            memory_bytes=m.memory_bytes,
            how=LIVE if levels[m.host] and levels[m.host] == levels[to[m.name]] else RESTART,
            ours=m.ours,
            choices=choices[m.name],
        )
        for m in machines
        if m.name in to
    ]
    return tuple(sorted(moves, key=lambda move: (move.choices, -move.memory_bytes, move.machine)))


def _left(test: RestartTest, stands: Sequence[Stand]) -> tuple[Left, ...]:
    rows = [
        Left(host=stand.name, memory_bytes=left, of_bytes=stand.memory_bytes)
        for stand, left in zip(stands, test.arrays.left_bytes_list, strict=True)
    ]
    return tuple(sorted(rows, key=lambda row: (row.memory_bytes / max(1, row.of_bytes), row.host)))
