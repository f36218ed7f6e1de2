"""Items onto the next host that takes them, walking round from a chosen one: what decides nearly every scenario at once.

Looks at a few hosts an item and no arrays, so it costs some tens of microseconds; walks from different hosts spread what
they take, which pairs.py lives on. Finding none proves nothing.
"""

from bisect import bisect_left
from typing import Final

from staddle.failures.arrays import NONE
from staddle.failures.question import Question

__all__ = ["walk_fit"]

_MOST_LOOKED_AT: Final = 48
"""Hosts an item looks at; where rooms are scarcer than that, arrays are faster (tried, no source)."""


def walk_fit(question: Question, *, start: int) -> list[int] | None:
    """A host for each item, the larger items first; None where one found none near enough.

    Args: start: the position among all hosts from which each walk begins, and goes round.
    """
    arrays = question.arrays
    left_bytes, left_cores, rate_of = arrays.left_bytes_list, arrays.left_cores_list, arrays.ground.rate_list
    class_lists, failed = arrays.ground.class_lists, question.failed
    memory_bytes, cores = question.memory_bytes.tolist(), question.cores.tolist()
    reach, apart = question.reach.tolist(), question.apart
    taken_bytes: dict[int, int] = {}
    taken_cores: dict[int, int] = {}
    held: set[tuple[int, int]] = set()  # (group, host)
    at = [NONE] * len(question)
    for item in sorted(range(len(question)), key=memory_bytes.__getitem__, reverse=True):
        hosts = question.hosts[item].tolist() if item in question.narrow else class_lists[reach[item]]
        count = len(hosts)
        need_bytes, need_cores = memory_bytes[item], cores[item]
        turn = bisect_left(hosts, start % len(left_bytes))
        for step in range(min(count, _MOST_LOOKED_AT)):
            host = hosts[(turn + step) % count]
            if host in failed:
                continue
            now_bytes = taken_bytes.get(host, 0) + need_bytes
            if now_bytes > left_bytes[host]:
                continue
            now_cores = taken_cores.get(host, 0) + need_cores[rate_of[host]]
            if now_cores > left_cores[host]:
                continue
            if apart[item] and any((group, host) in held for group in apart[item]):
                continue
            taken_bytes[host], taken_cores[host] = now_bytes, now_cores
            held.update((group, host) for group in apart[item])
            at[item] = host
            break
        else:
            return None
    return at
