"""Changes after which a placement exists: each is put to the search again before it is told, cheapest first.

What can be changed: a rule of the design (mends_of_rules.py), room of a host or pool, what a host is attached to, where a
guest of others stands (mends_of_room.py), one more domain (mends_of_domains.py), and whatever else the caller hands in
(another size, thin disks). Two changes at once are not looked for. Not here: why none exists (conflict.py).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

from staddle.placement.change import COSTS, Change
from staddle.placement.data import Tables
from staddle.placement.mends_of_domains import changes_of_domains
from staddle.placement.mends_of_room import changes_of_room
from staddle.placement.mends_of_rules import changes_of_rules
from staddle.placement.model import ConflictRule, Mend, Problem

__all__ = ["COSTS", "Change", "find_mends"]

_MOST_OF_A_KIND: Final = 3
_MOST_TRIED_OF_A_KIND: Final = 12


def find_mends(
    tables: Tables,
    conflict: Sequence[ConflictRule],
    possible: Callable[[Problem], bool | None],
    *,
    others: Iterable[Change] = (),
) -> tuple[tuple[Mend, ...], int]:
    """The changes that help, cheapest first, at most three of a kind; and how many were not decided.

    Args: conflict: rules that contradict each other; possible: whether that question has an answer, None where it was not
        decided; others: changes that the caller knows of.
    """
    kinds: dict[str, list[Change]] = {}
    # Members of several classes may lack the same: a change is tried and told once.
    changed = {change[0].text: change for change in reversed((*others, *_changes(tables, conflict)))}
    for change in reversed(changed.values()):
        kinds.setdefault(change[0].kind, []).append(change)
    found: list[Mend] = []
    undecided = 0
    stopped = False
    for changes in kinds.values():
        helping: list[Mend] = []
        # Members that are not alike lack the same on the same host: that is one change.
        different = {mend.text: (mend, problem) for mend, problem in reversed(changes)}
        for mend, problem in sorted(different.values(), key=lambda row: row[0].cost)[:_MOST_TRIED_OF_A_KIND]:
            try:
                answer = None if stopped else possible(problem)
            except KeyboardInterrupt:  # what was found helps all the same
                answer, stopped = None, True
            undecided += answer is None
            if answer:
                helping.append(mend)
            if len(helping) == _MOST_OF_A_KIND:
                break
        found += helping
    return tuple(sorted(found, key=lambda mend: mend.cost)), undecided


def _changes(tables: Tables, conflict: Sequence[ConflictRule]) -> Iterator[Change]:
    names = {rule.name for rule in conflict}
    yield from changes_of_rules(tables.problem, names)
    yield from changes_of_room(tables, names)
    yield from changes_of_domains(tables.problem, names)
