"""The restart question as flow through patterns, for hosts of which many are alike; exact where the solver can finish.

A host's filling is a path: at each kind of item, largest first, it takes one more or goes on to the next kind. A place on
the path is what room is left, shrunk to what the kinds that are still to come can use of it; so hosts with different
rooms meet, and equal ones enter at one place. As many paths begin at a place as hosts have that room, and together they
take every item.

Source: the arc-flow model of bin packing (Valério de Carvalho 1999), with places merged by what is still usable
(after Brandão & Pedroso 2016); both from memory.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import gcd
from typing import Final

import numpy as np

from staddle.failures.arrays import NONE
from staddle.failures.question import Question
from staddle.failures.restart_cp import Undecided, like_items
from staddle.kernel import OurFault

__all__ = ["solve_patterns"]

_MOST_ARCS: Final = 60_000
"""What the solver takes in some seconds at most (tried, no source)."""
_MOST_UNITS: Final = 1 << 20
"""Rooms of more units than this are not shrunk to what can be used: the sums would be too many to list."""
_MOST_NODES: Final = 2_000
"""Branches of the search; a limit in numbers and not in seconds, so that the same question gets the same answer."""

_OPTIONS: Final[dict[str, bool | int | float]] = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 0,
    "mip_max_nodes": _MOST_NODES,
    "mip_allow_restart": False,
    "mip_heuristic_effort": 0.3,  # tried on the published instances
    "mip_rel_gap": 1e9,  # the first filling that takes all is as good as any
}

Place = tuple[int, int, int]  # the kind that comes next, bytes left in units, thousandths of a core left


@dataclass(slots=True)
class _Graph:
    """The places and arcs for hosts that may take the same kinds at the same weights."""

    needs: list[tuple[int, int, int]]  # (kind, units of memory, thousandths of a core), largest first
    usable: list[
        tuple[int, int]
    ]  # for each kind of needs and after: the sums in memory and in cores, as bits
    places: dict[Place, int] = field(default_factory=dict)
    arcs: list[tuple[int, int, int]] = field(default_factory=list)  # (from, to, kind or NONE for going on)
    hosts: dict[int, list[int]] = field(default_factory=dict)  # hosts entering at a place

    def shrunk(self, step: int, memory: int, cores: int) -> Place:
        """The place before this step with so much room, shrunk to what this kind and the later ones can use."""
        in_memory, in_cores = self.usable[step]
        return step, _largest_sum(in_memory, memory), _largest_sum(in_cores, cores)


def solve_patterns(question: Question, *, most_arcs: int = _MOST_ARCS) -> list[int] | Undecided | None:
    """A host for each item; None: proven that there is none, within the solver's tolerance."""
    kinds = like_items(question)
    if _kept_apart(question, kinds):
        return Undecided("packing patterns do not know machines that keep apart from each other")
    graphs = _graphs(question, kinds)
    for graph in graphs:
        if not _grow(graph, most_arcs - sum(len(g.arcs) for g in graphs)):
            return Undecided(f"{most_arcs} arcs of packing patterns")
    flows = _solve(graphs, [len(items) for items in kinds])
    if flows is None or isinstance(flows, Undecided):
        return flows
    at = [NONE] * len(question)
    left = [list(items) for items in kinds]
    for graph, flow in zip(graphs, flows, strict=True):
        for host, kind in _paths(graph, flow):
            at[left[kind].pop(0)] = host
    if any(left):
        raise OurFault.one("the packing patterns leave machines over", why="the solver said that they do not")
    return at


def _kept_apart(question: Question, kinds: Sequence[Sequence[int]]) -> bool:
    groups = [group for items in kinds for item in items for group in question.apart[item]]
    return len(set(groups)) < len(groups)


def _graphs(question: Question, kinds: Sequence[Sequence[int]]) -> list[_Graph]:
    """One graph for hosts that may take the same kinds at the same rate, hosts at their entry places."""
    unit = gcd(*(int(question.memory_bytes[items[0]]) for items in kinds)) or 1
    takers: dict[int, list[int]] = {}
    for kind, items in enumerate(kinds):
        for host in question.takers(items[0]).tolist():
            takers.setdefault(host, []).append(kind)
    found: dict[tuple[tuple[int, ...], int], _Graph] = {}
    for host, there in sorted(takers.items()):
        key = (tuple(there), int(question.rate_of[host]))
        graph = found.get(key)
        if graph is None:
            graph = found[key] = _empty_graph(question, kinds, there, key[1], unit)
        room = (int(question.left_bytes[host]) // unit, int(question.left_cores[host]))
        place = graph.shrunk(0, *room)
        number = graph.places.setdefault(place, len(graph.places))
        graph.hosts.setdefault(number, []).append(host)
    return list(found.values())


def _empty_graph(
    question: Question, kinds: Sequence[Sequence[int]], there: Iterable[int], rate: int, unit: int
) -> _Graph:
    needs = [
        (kind, int(question.memory_bytes[kinds[kind][0]]) // unit, int(question.cores[kinds[kind][0], rate]))
        for kind in there
    ]
    total = [sum(need[n] * len(kinds[need[0]]) for need in needs) or 1 for n in (1, 2)]
    needs.sort(key=lambda need: (-need[1] / total[0] - need[2] / total[1], need[0]))
    usable = [(1, 1)]
    listed = [total[0] <= _MOST_UNITS, total[1] <= _MOST_UNITS]
    for kind, memory, cores in reversed(needs):
        count = len(kinds[kind])
        usable.append((_sums(usable[-1][0], memory, count), _sums(usable[-1][1], cores, count)))
    if not all(listed):
        usable = [tuple(u if ok else 0 for u, ok in zip(pair, listed, strict=True)) for pair in usable]  # type: ignore[misc]  # two of them
    usable.reverse()
    return _Graph(needs=needs, usable=usable)


def _sums(sums: int, need: int, count: int) -> int:
    """All sums, as bits, with up to so many more of this need."""
    done = 0
    step = 1
    while done < count and need:
        step = min(step, count - done)
        sums |= sums << (need * step)
        done += step
        step *= 2
    return sums


def _largest_sum(sums: int, room: int) -> int:
    """The largest listed sum within the room; the room itself where none are listed."""
    return (sums & ((1 << (room + 1)) - 1)).bit_length() - 1 if sums else room


def _grow(graph: _Graph, most_arcs: int) -> bool:
    """Add every place that can be reached and the arcs between; False when there are too many."""
    todo = list(graph.places)
    while todo:
        place = todo.pop()
        step, memory, cores = place
        if step == len(graph.needs):
            continue
        kind, need_memory, need_cores = graph.needs[step]
        ways = [(NONE, graph.shrunk(step + 1, memory, cores))]
        if need_memory <= memory and need_cores <= cores:
            ways.append((kind, graph.shrunk(step, memory - need_memory, cores - need_cores)))
        for taken, to in ways:
            if to not in graph.places:
                graph.places[to] = len(graph.places)
                todo.append(to)
            graph.arcs.append((graph.places[place], graph.places[to], taken))
        if len(graph.arcs) > most_arcs:
            return False
    return True


def _solve(graphs: Sequence[_Graph], counts: Sequence[int]) -> list[list[int]] | Undecided | None:
    """How often each arc of each graph is used."""
    import highspy
    from highspy import _core

    # Its public class says its name on standard output when it is made, where our data goes; its base class does not.
    model = _core._Highs()
    for name, value in _OPTIONS.items():
        model.setOptionValue(name, value)
    places = sum(len(graph.places) for graph in graphs)
    rows: list[int] = []
    columns: list[int] = []
    values: list[float] = []
    supply = np.zeros(places)
    sinks = np.zeros(places, dtype=bool)
    upper: list[float] = []
    before = column = 0
    for graph in graphs:
        for place, hosts in graph.hosts.items():
            supply[before + place] = len(hosts)
        for (step, _, _), number in graph.places.items():
            sinks[before + number] = step == len(graph.needs)
        total = sum(len(hosts) for hosts in graph.hosts.values())
        for start, end, kind in graph.arcs:
            rows += [before + start, before + end]
            columns += [column, column]
            values += [1.0, -1.0]
            if kind != NONE:
                rows.append(places + kind)
                columns.append(column)
                values.append(1.0)
            upper.append(float(total if kind == NONE else min(total * counts[kind], sum(counts))))
            column += 1
        before += len(graph.places)
    lower_rows = np.concatenate((np.where(sinks, -np.inf, supply), np.array(counts, dtype=float)))
    upper_rows = np.concatenate((np.where(sinks, np.inf, supply), np.array(counts, dtype=float)))
    order = np.lexsort((columns, rows))
    row_of = np.array(rows)[order]
    starts = np.searchsorted(row_of, np.arange(len(lower_rows)))
    model.addVars(column, np.zeros(column), np.array(upper))
    # Costs that mean nothing: with one best corner instead of a wide face the solver finds whole numbers sooner.
    costs = np.random.default_rng(0).integers(0, 100, column).astype(float)
    model.changeColsCost(column, np.arange(column, dtype=np.int32), costs)
    model.changeColsIntegrality(
        column, np.arange(column, dtype=np.int32), np.full(column, highspy.HighsVarType.kInteger)
    )
    model.addRows(
        len(lower_rows),
        lower_rows,
        upper_rows,
        len(rows),
        starts.astype(np.int32),
        np.array(columns, dtype=np.int32)[order],
        np.array(values)[order],
    )
    model.run()
    status = model.getModelStatus()
    if status == highspy.HighsModelStatus.kInfeasible:
        return None
    if status != highspy.HighsModelStatus.kOptimal:
        return Undecided(f"{_MOST_NODES} branches over packing patterns")
    flat = [round(value) for value in model.getSolution().col_value]
    flows, column = [], 0
    for graph in graphs:
        flows.append(flat[column : column + len(graph.arcs)])
        column += len(graph.arcs)
    return flows


def _paths(graph: _Graph, flow: Sequence[int]) -> Iterable[tuple[int, int]]:
    """(host, kind) for each item taken, host after host."""
    leaving: dict[int, list[list[int]]] = {}
    for (start, end, kind), times in zip(graph.arcs, flow, strict=True):
        if times:
            leaving.setdefault(start, []).append([end, kind, times])
    for place, hosts in graph.hosts.items():
        for host in hosts:
            at = place
            while leaving.get(at):
                arc = leaving[at][-1]
                arc[2] -= 1
                if not arc[2]:
                    leaving[at].pop()
                if arc[1] != NONE:
                    yield host, arc[1]
                at = arc[0]
