"""Proofs by counting that members cannot fit, before any search. Not here: proofs that they can.

A failing bound proves that no placement exists; a bound that holds says nothing.
"""

from staddle.placement.model import Problem

__all__ = ["cannot_fit", "none_by_volume"]


def none_by_volume(problem: Problem, active: frozenset[str]) -> bool:
    """Whether the groups in ``active`` are refuted by volume alone: memory, vCPUs, or what pools can take."""
    disks = [disk for member in problem.members for disk in member.disks]
    questions = (
        ("memory", [m.memory_bytes for m in problem.members], [h.memory_bytes for h in problem.hosts]),
        ("vcpus", [m.vcpus for m in problem.members], [h.vcpus for h in problem.hosts]),
        ("pool-free", [d.written_bytes for d in disks], [p.free_bytes for p in problem.pools]),
        ("pool-promise", [d.promised_bytes for d in disks], [p.promise_bytes for p in problem.pools]),
    )
    return any(name in active and cannot_fit(needs, rooms) for name, needs, rooms in questions)


def cannot_fit(needs: list[int], rooms: list[int]) -> bool:
    """Whether counting proves that the needs do not fit into the rooms, each need whole in one room.

    Three bounds: the sums; for each need t, the number of needs of at least t against the rooms' floor(room / t);
    and for each a up to half the largest room C, needs above C - a weighing C, those below a nothing. A need above
    C - a leaves less than a beside it, so that a room holds at most max(C, its own size) of such weight.

    Source: bound L2 of Martello & Toth, carried over from equal to unequal rooms.
    """
    needs = sorted((need for need in needs if need > 0), reverse=True)
    if not needs:
        return False
    if sum(needs) > sum(rooms) or needs[0] > max(rooms, default=0):
        return True
    distinct = sorted(set(needs))
    for smallest in distinct:
        if sum(need >= smallest for need in needs) > sum(room // smallest for room in rooms):
            return True
    largest = max(rooms)
    return any(_threshold_refutes(needs, rooms, largest, a) for a in distinct if 2 * a <= largest)


def _threshold_refutes(needs: list[int], rooms: list[int], largest: int, a: int) -> bool:
    big = [need for need in needs if need > largest - a]
    weight = len(big) * largest + sum(need for need in needs if a <= need <= largest - a)
    least_big = min(big, default=largest + 1)
    return weight > sum(largest if room >= least_big else room for room in rooms)
