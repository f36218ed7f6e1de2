"""The restart question for the constraint solver, when counting and first-fit left it open.

Like items are counted, not told apart. One worker, a fixed start and a limit in the solver's deterministic time: the same
question gets the same answer.
"""

from math import gcd
from typing import Final

from staddle.failures.arrays import NONE
from staddle.failures.question import Question
from staddle.failures.solver import load_solver
from staddle.kernel import OurFault

__all__ = ["Undecided", "solve_cp"]

_MOST_PAIRS: Final = 200_000
"""Pairs of a kind of item and a host: what fits into some seconds of building the model (tried, no source)."""


class Undecided:
    """No answer within the limit. Args: limit: which one, in words."""

    def __init__(self, limit: str) -> None:
        self.limit: Final = limit


def solve_cp(question: Question, *, limit_s: float, seed: int = 0) -> list[int] | Undecided | None:
    """A host for each item; None: proven that there is none.

    Args: limit_s: deterministic seconds of the solver.
    """
    load_solver()
    from ortools.sat.python import cp_model

    kinds = like_items(question)
    takers = [question.takers(items[0]).tolist() for items in kinds]
    if sum(len(hosts) for hosts in takers) > _MOST_PAIRS:
        return Undecided(f"{_MOST_PAIRS} pairs of a kind of machine and a host")
    model = cp_model.CpModel()
    on: dict[tuple[int, int], cp_model.IntVar] = {}
    by_host: dict[int, list[int]] = {}
    for kind, (items, hosts) in enumerate(zip(kinds, takers, strict=True)):
        for host in hosts:
            on[kind, host] = model.new_int_var(0, len(items), "")
            by_host.setdefault(host, []).append(kind)
        model.add(sum(on[kind, host] for host in hosts) == len(items))
    bytes_unit = gcd(*question.memory_bytes.tolist()) or 1
    for host, there in by_host.items():
        rate = int(question.rate_of[host])
        needs = [
            (int(question.memory_bytes[kinds[k][0]]) // bytes_unit, int(question.cores[kinds[k][0], rate]))
            for k in there
        ]
        for position, room in (
            (0, int(question.left_bytes[host]) // bytes_unit),
            (1, int(question.left_cores[host])),
        ):
            if sum(n[position] * len(kinds[k]) for n, k in zip(needs, there, strict=True)) > room:
                model.add(sum(n[position] * on[k, host] for n, k in zip(needs, there, strict=True)) <= room)
        groups: dict[int, list[int]] = {}
        for k in there:
            for group in question.apart[kinds[k][0]]:
                groups.setdefault(group, []).append(k)
        for shared in groups.values():
            model.add(sum(on[k, host] for k in shared) <= 1)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = seed
    solver.parameters.max_deterministic_time = limit_s
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return None
    if status == cp_model.UNKNOWN:
        return Undecided(f"{limit_s:g} deterministic seconds of the constraint solver")
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        raise OurFault.one("the restart's constraint model is not valid", why=model.validate())
    at = [NONE] * len(question)
    for kind, items in enumerate(kinds):
        places = [host for host in takers[kind] for _ in range(solver.value(on[kind, host]))]
        for item, host in zip(items, places, strict=True):
            at[item] = host
    return at


def like_items(question: Question) -> list[list[int]]:
    """The items that are alike in needs, hosts and groups, in the order in which their first one comes."""
    found: dict[object, list[int]] = {}
    for item in range(len(question)):
        hosts = question.hosts[item]
        reach = int(question.reach[item])
        whole = question.arrays.ground.class_hosts[reach] is hosts
        key = (
            int(question.memory_bytes[item]),
            tuple(question.cores[item].tolist()),
            reach if whole else hosts.tobytes(),
            question.apart[item],
        )
        found.setdefault(key, []).append(item)
    return list(found.values())
