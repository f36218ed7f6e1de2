"""What is wrong with a question before anything is solved: names that do not exist, amounts that cannot be.

A rule that nothing on the estate can meet is no fault of the question: then no placement exists (solve.py).
"""

from collections import Counter
from collections.abc import Iterable
from itertools import product

from staddle.kernel import Fault
from staddle.kernel.likeness import did_you_mean
from staddle.placement.model import HostRoom, PoolRoom, Problem

__all__ = ["faults_of"]


def faults_of(problem: Problem) -> tuple[Fault, ...]:
    """Every fault of the question, in the order of its parts. () when it can be asked."""
    return (
        *_emptiness(problem),
        *_doubles("member", [member.name for member in problem.members]),
        *_doubles("host", [host.name for host in problem.hosts]),
        *_doubles("pool", [pool.name for pool in problem.pools]),
        *_doubles("cluster", [rules.name for rules in problem.clusters]),
        *_doubles("settled seat of member", [seat.member for seat in problem.settled]),
        *_amounts(problem),
        *_leaders(problem),
        *_names(problem),
    )


def _emptiness(problem: Problem) -> list[Fault]:
    faults = []
    if not problem.members:
        faults.append(Fault(what="there is no member to place", mend="name members in design.yaml"))
    if not problem.hosts:
        faults.append(Fault(what="the estate has no host", mend="fill the estate's table of hosts"))
    if not problem.pools and any(member.disks for member in problem.members):
        faults.append(
            Fault(
                what="the estate has no pool, but members have disks", mend="fill the estate's table of pools"
            )
        )
    return faults


def _doubles(kind: str, names: list[str]) -> list[Fault]:
    return [
        Fault(
            what=f'{kind} "{name}" is there {count} times',
            mend="keep one, or give them names of their own",
        )
        for name, count in Counter(names).items()
        if count > 1
    ]


def _amounts(problem: Problem) -> list[Fault]:
    amounts: list[tuple[str, str, int]] = []
    for member in problem.members:
        where = f"member {member.name}"
        amounts += [(where, "memory_bytes", member.memory_bytes), (where, "vcpus", member.vcpus)]
        for disk in member.disks:
            amounts += [
                (f"{where}, disk {disk.disk_id}", "promised_bytes", disk.promised_bytes),
                (f"{where}, disk {disk.disk_id}", "written_bytes", disk.written_bytes),
            ]
    for host in problem.hosts:
        where = f"host {host.name}"
        amounts += [
            (where, "memory_bytes", host.memory_bytes),
            (where, "vcpus", host.vcpus),
            (where, "memory_total_bytes less memory_bytes", host.memory_total_bytes - host.memory_bytes),
            (where, "node_cores", host.node_cores),
            (where, "node_memory_bytes", host.node_memory_bytes),
        ]
    for pool in problem.pools:
        where = f"pool {pool.name}"
        amounts += [
            (where, "free_bytes", pool.free_bytes),
            (where, "promise_bytes", pool.promise_bytes),
            (where, "capacity_bytes less free_bytes", pool.capacity_bytes - pool.free_bytes),
        ]
    return [
        Fault(
            what=f"{name} is {amount}, at least 0 is expected",
            where=where,
            mend="correct the estate's tables or the design",
        )
        for where, name, amount in amounts
        if amount < 0
    ]


def _leaders(problem: Problem) -> list[Fault]:
    faults = [
        Fault(
            what=f'leads is "{member.leads}", expected is first, second or never',
            where=f"member {member.name}",
        )
        for member in problem.members
        if member.leads not in ("first", "second", "never")
    ]
    for cluster, place in product((rules.name for rules in problem.clusters), ("first", "second")):
        leading = [m.name for m in problem.members if (m.cluster, m.leads) == (cluster, place)]
        if len(leading) > 1:
            faults.append(
                Fault(
                    what=f'{" and ".join(leading)} all have leads "{place}"',
                    why="one member leads, and one is its deputy",
                )
            )
    return faults


def _names(problem: Problem) -> list[Fault]:
    hosts = [host.name for host in problem.hosts]
    pools = [pool.name for pool in problem.pools]
    rooms: tuple[HostRoom | PoolRoom, ...] = (*problem.hosts, *problem.pools)
    pairs = [pair for room in rooms for pair in room.domains]
    kinds = list(dict.fromkeys(["host", "pool", *(kind for kind, _ in pairs)]))
    places = [*hosts, *pools, *(name for _, name in pairs)]
    sites = [name for kind, name in pairs if kind == "site"]
    asked: list[tuple[str, str, str, list[str]]] = []
    for member in problem.members:
        where = f"member {member.name}"
        asked += [(where, "host", member.pinned_to, hosts), (where, "site", member.site, sites)]
        asked += [(where, "host, pool or domain", name, places) for name in member.keep_out]
        asked.append((where, "cluster", member.cluster, [rules.name for rules in problem.clusters]))
    for rules in problem.clusters:
        asked += [("storage.pools", "pool", name, pools) for name in rules.allowed_pools]
        asked += [("apart", "kind of domain", apart.kind, kinds) for apart in rules.apart]
        asked += [("deputy apart", "kind of domain", kind, kinds) for kind in rules.deputy_apart]
        asked += [("together", "kind of domain", kind, kinds) for kind in rules.together]
        asked += [("majority", "kind of domain", kind, kinds) for kind in rules.majority_kinds]
    for host in problem.hosts:
        asked += [(f"host {host.name}", "pool", name, pools) for name in host.pools]
    return [_unknown(*row) for row in asked if row[2] and row[2] not in row[3]]


def _unknown(where: str, kind: str, name: str, known: Iterable[str]) -> Fault:
    names = list(dict.fromkeys(known))
    mend = did_you_mean(name, names) or f"the estate has {', '.join(names) or 'none'}"
    return Fault(what=f'there is no {kind} "{name}"', where=where, mend=mend)
