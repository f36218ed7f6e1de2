"""Changes after which a placement exists: each is put to the search again before it is told, cheapest first.

What can be changed: a rule of the design, room of a host or pool, what a host is attached to, where a guest of others
stands, and whatever else the caller hands in (another size, thin disks). Two changes at once are not looked for. Not here:
why none exists (conflict.py).
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from staddle.estate.room import vcpus_weighed
from staddle.failures.running import Running
from staddle.kernel import format_binary, format_decimal
from staddle.placement.bars import group
from staddle.placement.data import Tables
from staddle.placement.model import (
    Apart,
    ClusterRules,
    ConflictRule,
    HostRoom,
    MemberNeed,
    Mend,
    PoolRoom,
    Problem,
)

__all__ = ["COSTS", "Change", "find_mends"]

Change = tuple[Mend, Problem]

COSTS: Final = {
    "attach": 1.0,
    "move a guest": 2.0,
    "another design": 3.0,
    "more room": 4.0,
    "give up a wish": 6.0,
    "give up a rule": 10.0,
}
"""What a change costs at least, by its kind, in no unit: only their order matters. Common practice, no source: what can be
undone comes before what must be bought, and that before what makes the cluster weaker. Each GiB adds a hundredth."""

_MOST_OF_A_KIND: Final = 3
_MOST_TRIED_OF_A_KIND: Final = 12
_MOST_NAMES: Final = 4
_GIB: Final = 1024**3


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
    for changes in kinds.values():
        helping: list[Mend] = []
        # Members that are not alike lack the same on the same host: that is one change.
        different = {mend.text: (mend, problem) for mend, problem in reversed(changes)}
        for mend, problem in sorted(different.values(), key=lambda row: row[0].cost)[:_MOST_TRIED_OF_A_KIND]:
            answer = possible(problem)
            undecided += answer is None
            if answer:
                helping.append(mend)
            if len(helping) == _MOST_OF_A_KIND:
                break
        found += helping
    return tuple(sorted(found, key=lambda mend: mend.cost)), undecided


def _changes(tables: Tables, conflict: Sequence[ConflictRule]) -> Iterator[Change]:
    names = {rule.name for rule in conflict}
    for rules in tables.problem.clusters:
        yield from _without_rules(tables.problem, rules, names)
    yield from _without_wishes(tables.problem, names)
    yield from _without_scenarios(tables.problem, names)
    if names & {"memory", "vcpus"}:
        yield from _roomier_hosts(tables)
        yield from _moved_guests(tables)
    if "networks" in names:
        yield from _attached(tables)
    if "pool-reach" in names:
        yield from _reaching(tables)
    if names & {"pool-free", "pool-promise"}:
        yield from _roomier_pools(tables)


def _mend(kind: str, text: str, *, more: float = 0) -> Mend:
    return Mend(text=text, kind=kind, cost=COSTS[kind] + more)


# rules and wishes


def _without_rules(problem: Problem, rules: ClusterRules, names: set[str]) -> Iterator[Change]:
    of = f" of {rules.name}" if rules.name else ""

    def changed(**fields: object) -> Problem:
        other = replace(rules, **fields)  # type: ignore[arg-type]  # fields of the value
        return replace(problem, clusters=tuple(other if row == rules else row for row in problem.clusters))

    for apart in rules.apart:
        if group(rules.name, f"apart:{apart.kind}") in names:
            more = Apart(kind=apart.kind, most=apart.most + 1, key=apart.key)
            rows = tuple(more if row == apart else row for row in rules.apart)
            text = f'let {more.most} members{of} share a {apart.kind} (apart: "{more.most} a {apart.kind}")'
            weight = 2.0 if apart.kind == "host" else 0.0
            yield _mend("give up a rule", text, more=weight), changed(apart=rows)
            rest = tuple(row for row in rules.apart if row != apart)
            text = f"let any number of members{of} share a {apart.kind}"
            yield _mend("give up a rule", text, more=weight + 1), changed(apart=rest)
    for kind in rules.deputy_apart:
        if group(rules.name, f"deputy-apart:{kind}") in names:
            rest_kinds = tuple(row for row in rules.deputy_apart if row != kind)
            text = f"let the deputy{of} share a {kind} with the leader"
            yield _mend("give up a rule", text), changed(deputy_apart=rest_kinds)
    for kind in rules.majority_kinds:
        if group(rules.name, f"majority:{kind}") in names:
            rest_kinds = tuple(row for row in rules.majority_kinds if row != kind)
            text = f"let one {kind} hold half of the votes{of}"
            yield _mend("give up a rule", text, more=3), changed(majority_kinds=rest_kinds)
    for kind in rules.together:
        if group(rules.name, f"together:{kind}") in names:
            text = f"let members{of} stand in more than one {kind}, against the package's wish"
            rest_kinds = tuple(row for row in rules.together if row != kind)
            yield _mend("give up a rule", text), changed(together=rest_kinds)
    if group(rules.name, "one-cpu-level") in names:
        text = f"level the CPUs of the platform, so that members{of} may stand on hosts of different levels"
        yield _mend("give up a rule", text), changed(one_cpu_level=False)
    if group(rules.name, "pools-named") in names:
        text = f"allow any pool for the disks{of} (storage.pools)"
        yield _mend("give up a wish", text), changed(allowed_pools=())
    if group(rules.name, "latency") in names:
        text = f"let data{of} stand at sites that are far from each other"
        yield _mend("give up a rule", text, more=3), changed(too_far=())


def _without_wishes(problem: Problem, names: set[str]) -> Iterator[Change]:
    asks: tuple[tuple[str, Callable[[MemberNeed, str], MemberNeed], str], ...] = (
        ("pin", lambda m, name: replace(m, pinned_to="" if m.pinned_to == name else m.pinned_to), "any host"),
        ("site", lambda m, name: replace(m, site="" if m.site == name else m.site), "any site"),
        (
            "keep-out",
            lambda m, name: replace(m, keep_out=tuple(row for row in m.keep_out if row != name)),
            "{name} too",
        ),
    )
    for rule, drop, where in asks:
        for name in sorted(own.partition(":")[2] for own in names if own.startswith(f"{rule}:")):
            members = tuple(drop(member, name) for member in problem.members)
            pairs = zip(problem.members, members, strict=True)
            who = ", ".join(old.name for old, new in pairs if old != new)
            text = f"let {who} stand on {where.format(name=name)}"
            yield _mend("give up a wish", text), replace(problem, members=members)


def _without_scenarios(problem: Problem, names: set[str]) -> Iterator[Change]:
    reserve = problem.reserve
    for survive in reserve.survive if reserve else ():
        if reserve is None or group(survive.cluster, f"survive:{survive.sentence}") not in names:
            continue
        rest = tuple(row for row in reserve.survive if row != survive)
        text = f'do not ask to outlive "{survive.sentence}"'
        yield _mend("give up a rule", text, more=4), replace(problem, reserve=replace(reserve, survive=rest))
        if survive.others_restart:
            fewer = replace(survive, others_restart=False)
            rows = tuple(fewer if row == survive else row for row in reserve.survive)
            text = f'let guests of others stay down after "{survive.sentence}" (survive: afterwards others may stay down)'
            yield (
                _mend("give up a rule", text, more=2),
                replace(problem, reserve=replace(reserve, survive=rows)),
            )


# room


def _short_hosts(tables: Tables) -> Iterator[tuple[MemberNeed, int, HostRoom]]:
    """(a member of a class, position, host) where memory and vCPUs alone are in the way, the least short first."""
    rows = []
    for positions in tables.classes:
        member = tables.problem.members[positions[0]]
        for h, host in enumerate(tables.problem.hosts):
            bars = {bar.name for bar in tables.host_bars(member, host)}
            if bars and bars <= {"memory", "vcpus"}:
                short = max(0, host.memory_for(member) - host.memory_bytes)
                rows.append((short, host.vcpus_for(member) - host.vcpus, h, positions[0]))
    for _, _, h, position in sorted(rows):
        yield tables.problem.members[position], h, tables.problem.hosts[h]


def _with_host(problem: Problem, h: int, host: HostRoom) -> Problem:
    return replace(problem, hosts=(*problem.hosts[:h], host, *problem.hosts[h + 1 :]))


def _roomier_hosts(tables: Tables) -> Iterator[Change]:
    """Room for one member more on one host; hosts that lack the same at the same site are told together."""
    alike: dict[tuple[int, int, str], list[tuple[int, HostRoom, HostRoom]]] = {}
    for member, h, host in _short_hosts(tables):
        memory = max(0, host.memory_for(member) - host.memory_bytes)
        vcpus = max(0, host.vcpus_for(member) - host.vcpus)
        wider = replace(
            host,
            memory_bytes=host.memory_bytes + memory,
            memory_total_bytes=host.memory_total_bytes + memory,
            vcpus=host.vcpus + vcpus,
        )
        site = next((name for kind, name in host.domains if kind == "site"), "")
        rows = alike.setdefault((memory, vcpus, site), [])
        if h not in [row[0] for row in rows]:
            rows.append((h, host, wider))
    for (memory, vcpus, site), rows in alike.items():
        parts = [f"{format_binary(memory)} more memory"] if memory else []
        parts += [f"{vcpus} more vCPUs"] if vcpus else []
        h, host, wider = rows[0]
        names = dict.fromkeys(row[1].name for row in rows)
        beside = list(names)[1:_MOST_NAMES]
        others = f" (as much is missing on {', '.join(beside)})" if beside else ""
        where = f" at {site}" if site else ""
        text = f"{' and '.join(parts)} on {host.name}{where}{others}"
        yield _mend("more room", text, more=memory / _GIB / 100), _with_host(tables.problem, h, wider)


def _moved_guests(tables: Tables) -> Iterator[Change]:
    """One guest of others moved away from a host, to the host with most room that can take it."""
    problem = tables.problem
    machines = problem.reserve.machines if problem.reserve else ()
    for member, h, host in _short_hosts(tables):
        memory = host.memory_for(member) - host.memory_bytes
        vcpus = host.vcpus_for(member) - host.vcpus
        there = [
            m
            for m in machines
            if m.host == host.name and m.memory_bytes >= memory and _vcpus_of(m, host) >= vcpus
        ]
        for guest in sorted(there, key=lambda m: (m.memory_bytes, m.name))[:1]:
            fitting = [
                (other.memory_bytes, -g, other)
                for g, other in enumerate(problem.hosts)
                if g != h
                and other.memory_bytes >= guest.memory_bytes
                and other.vcpus >= _vcpus_of(guest, other)
                and set(guest.pools) <= set(other.pools)
                and set(guest.networks) <= set(other.networks)
                and (not guest.sites or any(("site", name) in other.domains for name in guest.sites))
                and not any(m.host == other.name and guest.apart and m.apart == guest.apart for m in machines)
                and not guest.together
            ]
            if not fitting:
                continue
            _, _, other = max(fitting, key=lambda row: row[:2])
            changed = tuple(
                _with_less(room, guest.memory_bytes, _vcpus_of(guest, other))
                if room.name == other.name
                else _with_less(room, -guest.memory_bytes, -_vcpus_of(guest, host))
                if room.name == host.name
                else room
                for room in problem.hosts
            )
            reserve = problem.reserve and replace(
                problem.reserve,
                machines=tuple(replace(m, host=other.name) if m is guest else m for m in machines),
            )
            text = f"move guest {guest.name} ({format_binary(guest.memory_bytes)}) from {host.name} to {other.name}"
            yield (
                _mend("move a guest", text, more=guest.memory_bytes / _GIB / 100),
                replace(problem, hosts=changed, reserve=reserve),
            )


def _vcpus_of(guest: Running, host: HostRoom) -> int:
    """What the guest takes of that host's vCPUs, as its class says."""
    return vcpus_weighed(guest.vcpus, guest.vcpu_per_core or 0, host.vcpu_per_core)


def _with_less(host: HostRoom, memory_bytes: int, vcpus: int) -> HostRoom:
    return replace(host, memory_bytes=host.memory_bytes - memory_bytes, vcpus=host.vcpus - vcpus)


def _attached(tables: Tables) -> Iterator[Change]:
    for positions in tables.classes:
        member = tables.problem.members[positions[0]]
        for h, host in enumerate(tables.problem.hosts):
            if {bar.name for bar in tables.host_bars(member, host)} == {"networks"}:
                missing = [name for name in member.networks if name not in host.networks]
                wider = replace(host, networks=(*host.networks, *missing))
                text = f"attach {host.name} to network {', '.join(missing)}"
                yield _mend("attach", text, more=len(missing) / 10), _with_host(tables.problem, h, wider)


def _reaching(tables: Tables) -> Iterator[Change]:
    for positions in tables.classes:
        member = tables.problem.members[positions[0]]
        for h, host in enumerate(tables.problem.hosts):
            if tables.host_bars(member, host):
                continue
            for pool in tables.problem.pools:
                near = _sites(pool) & _sites(host) or not _sites(pool)
                if (
                    pool.name not in host.pools
                    and near
                    and not any(tables.pool_bars(member, disk, pool) for disk in member.disks)
                ):
                    wider = replace(host, pools=(*host.pools, pool.name))
                    text = f"let {host.name} reach pool {pool.name}"
                    yield _mend("attach", text, more=0.5), _with_host(tables.problem, h, wider)


def _sites(room: HostRoom | PoolRoom) -> set[str]:
    return {name for kind, name in room.domains if kind == "site"}


def _roomier_pools(tables: Tables) -> Iterator[Change]:
    """Room for all disks of one member more in one pool."""
    problem = tables.problem
    for positions in tables.classes:
        member = problem.members[positions[0]]
        written = sum(disk.written_bytes for disk in member.disks)
        promised = sum(disk.promised_bytes for disk in member.disks)
        for q, pool in enumerate(problem.pools):
            free, promise = max(0, written - pool.free_bytes), max(0, promised - pool.promise_bytes)
            if not free and not promise:
                continue
            wider = replace(
                pool,
                free_bytes=pool.free_bytes + free,
                capacity_bytes=pool.capacity_bytes + free,
                promise_bytes=pool.promise_bytes + promise,
            )
            parts = [f"{format_decimal(free)} more above its floor"] if free else []
            parts += [f"a promise limit {format_decimal(promise)} higher"] if promise else []
            text = f"{' and '.join(parts)} in pool {pool.name}"
            pools = (*problem.pools[:q], wider, *problem.pools[q + 1 :])
            yield (
                _mend("more room", text, more=max(free, promise) / _GIB / 100),
                replace(problem, pools=pools),
            )
