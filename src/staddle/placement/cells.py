"""The units of the constraint model: which like members are one row, and which hosts are one cell for them.

Members that are alike need no rows of their own where at most one of them stands in each cell: then it is enough to say
which cells are taken. A cell is a host; or, where at most one member of the cluster may stand in a domain of some kind,
those hosts of such a domain that reach the same pools. Hosts that others are better than in every respect are left out
where enough of those are there (candidates).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import comb

from staddle.failures.scenario import Scenario
from staddle.placement.bars import group
from staddle.placement.data import Tables
from staddle.placement.learnt import Learnt
from staddle.placement.model import ClusterRules, HostRoom, Survive

__all__ = ["Unit", "candidates", "cells_of", "find_units"]

_FEW_PAIRS = 4000  # below so many pairs of member and host every host is looked at


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """One row of the model: ``count`` like members, at most one of them in a cell.

    ``members`` are all positions of its class; ``cell_of`` gives the cell of each host that may be taken.
    """

    members: tuple[int, ...]
    count: int
    cell_of: Mapping[int, int]


def find_units(
    tables: Tables,
    active: frozenset[str],
    *,
    learnt: Learnt,
    only: frozenset[int] | None = None,
) -> tuple[Unit, ...]:
    """The units, those of one class next to each other.

    Args: active: groups of rules that hold; learnt: about the reserve; only: the hosts that are looked at, None for all
        that are worth it.
    """
    few = len(tables.problem.members) * len(tables.problem.hosts) <= _FEW_PAIRS
    every: Sequence[int] = range(len(tables.problem.hosts))
    kept = sorted(only) if only is not None else every if few else candidates(tables, active, learnt)
    cells = {rules.name: cells_of(tables, rules, active) for rules in tables.problem.clusters}
    units = []
    for positions in tables.classes:
        own, single = cells[tables.problem.members[positions[0]].cluster]
        cell_of = {h: own[h] for h in kept}
        if single or len(positions) == 1:
            units.append(Unit(members=positions, count=len(positions), cell_of=cell_of))
        else:
            units += [Unit(members=positions, count=1, cell_of=cell_of) for _ in positions]
    return tuple(units)


def _single_kinds(rules: ClusterRules, active: frozenset[str]) -> list[str]:
    """Kinds of which no domain may hold two members; the coarsest are not known yet."""
    return [
        apart.kind
        for apart in rules.apart
        if apart.most == 1 and apart.kind != "pool" and group(rules.name, f"apart:{apart.kind}") in active
    ]


def cells_of(tables: Tables, rules: ClusterRules, active: frozenset[str]) -> tuple[list[int], bool]:
    """The cell of every host, and whether at most one member of the cluster stands in a cell."""
    hosts = tables.problem.hosts
    kinds = _single_kinds(rules, active)
    names: list[object] = []
    single = bool(kinds)
    for host in hosts:
        domains = [(kind, name) for kind, name in host.domains if kind in kinds]
        if domains:
            names.append((domains[0], host.pools))
        else:
            names.append(host.name)
            single = single and "host" in kinds
    numbers: dict[object, int] = {}
    return [numbers.setdefault(name, len(numbers)) for name in names], single


def candidates(tables: Tables, active: frozenset[str], learnt: Learnt) -> Sequence[int]:
    """The hosts worth looking at.

    Of hosts that stand and reach alike, one is left out when at least as many others are no worse in memory and vCPUs as
    members can stand among them at all, and one more for each that a cut tells from the others: whoever takes the one left
    out can take a better one that is free instead, and no level above the table order gets worse. So alike are only those
    between which no rule makes a difference: none of a member, and no failure that the design names. Settled and pinned hosts stay.
    """
    problem = tables.problem
    wanted = {seat.host for seat in problem.settled} | {m.pinned_to for m in problem.members}
    told_apart = _told_apart(tables)
    alike: dict[object, list[int]] = {}
    for h, host in enumerate(problem.hosts):
        alike.setdefault((_likeness(host), told_apart[h]), []).append(h)
    cut_sets = {
        names for cut in learnt.cuts for row in cut.taken for names in (row.place.hosts, row.place.failed)
    }
    kept: list[int] = []
    for positions in alike.values():
        names = frozenset(problem.hosts[h].name for h in positions)
        split = frozenset[str]().union(*(names & own for own in cut_sets if not names <= own))
        most = _most_among(tables, problem.hosts[positions[0]], active) + len(split)
        kept += _best(problem.hosts, positions, most, wanted)
    return sorted(kept)


def _told_apart(tables: Tables) -> list[object]:
    """What a rule that names hosts says of each: members that keep out of it, pools in it, failures that take it."""
    problem = tables.problem
    marks: list[list[object]] = [[] for _ in problem.hosts]
    for position, member in enumerate(problem.members):
        for name in member.keep_out:
            if name in tables.host_at:
                marks[tables.host_at[name]].append(("keep out", position))
    for pool in problem.pools:
        for kind, name in pool.domains:
            if kind == "host" and name in tables.host_at:
                marks[tables.host_at[name]].append(("holds", pool.name))
    for number, survive in enumerate(problem.reserve.survive if problem.reserve else ()):
        if not _of_any_hosts(survive, len(problem.hosts)):
            for place, scenario in enumerate(survive.scenarios):
                for name in scenario.hosts:
                    if name in tables.host_at:
                        marks[tables.host_at[name]].append(("fails", number, place))
    return [tuple(row) for row in marks]


def _of_any_hosts(survive: Survive, hosts: int) -> bool:
    """Whether these are all choices of so many hosts, so that none of them makes a difference between two hosts."""
    counts = {_hosts_alone(scenario) for scenario in survive.scenarios}
    if len(counts) != 1 or 0 in counts:
        return False
    return len({scenario.domains for scenario in survive.scenarios}) >= comb(hosts, counts.pop())


def _hosts_alone(scenario: Scenario) -> int:
    """How many hosts fail where nothing else is meant to; 0 where something else is."""
    alone = all(kind == "host" for kind, _ in scenario.domains) and len(scenario.domains) == len(
        scenario.hosts
    )
    return len(scenario.hosts) if alone else 0


def _likeness(host: HostRoom) -> object:
    return (
        host.domains,
        host.pools,
        host.networks,
        host.cpu_level,
        host.memory_total_bytes,
        host.node_cores,
        host.node_memory_bytes,
        host.vcpu_per_core,
        host.guest_overhead_percent,
    )


def _most_among(tables: Tables, host: HostRoom, active: frozenset[str]) -> int:
    """How many members can stand on hosts like this one at most: one a cluster where they share a domain of a kept-apart kind."""
    kinds = {kind for kind, _ in host.domains}
    return sum(
        1 if kinds.intersection(_single_kinds(rules, active)) else len(tables.members_of(rules))
        for rules in tables.problem.clusters
    )


def _best(hosts: Sequence[HostRoom], positions: list[int], most: int, wanted: set[str]) -> list[int]:
    order = sorted(positions, key=lambda h: (-hosts[h].memory_bytes, -hosts[h].vcpus, h))
    vcpus: list[int] = []  # of those before, which all have as much memory
    kept = []
    for h in order:
        better = sum(own >= hosts[h].vcpus for own in vcpus)
        if better < most or hosts[h].name in wanted:
            kept.append(h)
        vcpus.append(hosts[h].vcpus)
    return kept
