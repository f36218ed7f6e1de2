"""Changes of what the estate offers: room, attachments, where a guest of others stands. Not here: rules (mends_of_rules.py)."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil
from typing import Final

from staddle.estate.room import vcpus_weighed
from staddle.failures.running import Running
from staddle.kernel import format_binary, format_decimal
from staddle.placement.change import Change, mend_of
from staddle.placement.data import Tables
from staddle.placement.model import HostRoom, MemberNeed, PoolRoom, Problem

__all__ = ["changes_of_room"]

_MOST_NAMES: Final = 4
_GIB: Final = 1024**3


def changes_of_room(tables: Tables, names: set[str]) -> Iterator[Change]:
    """What the estate could offer more. Args: names: the groups of rules in conflict."""
    if names & {"memory", "vcpus"}:
        yield from _roomier_hosts(tables)
        yield from _moved_guests(tables)
    if any(name.startswith("survive:") for name in names):
        yield from _roomier_afterwards(tables)
    if "networks" in names:
        yield from _attached(tables)
    if "pool-reach" in names:
        yield from _reaching(tables)
    if names & {"pool-free", "pool-promise"}:
        yield from _roomier_pools(tables)


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
    """The question with that host changed, after a failure too."""
    before, reserve = problem.hosts[h], problem.reserve
    changed = replace(problem, hosts=(*problem.hosts[:h], host, *problem.hosts[h + 1 :]))
    if reserve is None:
        return changed
    more_bytes = host.memory_total_bytes - before.memory_total_bytes
    more_vcpus = host.vcpus - before.vcpus
    stands = tuple(
        replace(
            stand,
            memory_bytes=stand.memory_bytes + more_bytes,
            cores=stand.cores + ceil(more_vcpus / (host.vcpu_per_core or stand.vcpu_per_core)),
            networks=host.networks,
            pools=host.pools,
        )
        if stand.name == host.name
        else stand
        for stand in reserve.stands
    )
    return replace(changed, reserve=replace(reserve, stands=stands))


def _roomier_hosts(tables: Tables) -> Iterator[Change]:
    """Room for one member more on one host; hosts that lack the same at the same site are told together."""
    alike: dict[tuple[int, int, str], list[tuple[int, HostRoom, HostRoom]]] = {}
    for member, h, host in _short_hosts(tables):
        memory = max(0, host.memory_for(member) - host.memory_bytes)
        vcpus = max(0, host.vcpus_for(member) - host.vcpus)
        wider = _wider(host, memory, vcpus)
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
        yield mend_of("more room", text, more=memory / _GIB / 100), _with_host(tables.problem, h, wider)


def _wider(host: HostRoom, memory_bytes: int, vcpus: int) -> HostRoom:
    return replace(
        host,
        memory_bytes=host.memory_bytes + memory_bytes,
        memory_total_bytes=host.memory_total_bytes + memory_bytes,
        vcpus=host.vcpus + vcpus,
    )


def _roomier_afterwards(tables: Tables) -> Iterator[Change]:
    """Memory on one host at a site of ours for one member more, or for all: others restart there, or ours do."""
    problem = tables.problem
    sites = {member.site for member in problem.members}
    one = max(member.memory_bytes for member in problem.members)
    every = sum(member.memory_bytes for member in problem.members)
    for memory in dict.fromkeys((one, every)):
        for h, host in enumerate(problem.hosts):
            site = next((name for kind, name in host.domains if kind == "site"), "")
            if site in sites or "" in sites:
                where = f" at {site}" if site else ""
                text = f"{format_binary(memory)} more memory on {host.name}{where}"
                changed = _with_host(problem, h, _wider(host, memory, 0))
                yield mend_of("more room", text, more=memory / _GIB / 100), changed


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
        yield from _unbooked(tables, h, [m for m in there if m.booked_by])
        movable = [m for m in there if not m.booked_by]
        for guest in sorted(movable, key=lambda m: (m.memory_bytes, m.name))[:1]:
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
                mend_of("move a guest", text, more=guest.memory_bytes / _GIB / 100),
                replace(problem, hosts=changed, reserve=reserve),
            )


def _unbooked(tables: Tables, h: int, there: Sequence[Running]) -> Iterator[Change]:
    """What another job has booked is its room and no guest that somebody could move: its engineer can be asked."""
    problem, host = tables.problem, tables.problem.hosts[h]
    for machine in sorted(there, key=lambda m: (m.memory_bytes, m.name))[:1]:
        free = _with_less(host, -machine.memory_bytes, -_vcpus_of(machine, host))
        reserve = problem.reserve and replace(
            problem.reserve, machines=tuple(m for m in problem.reserve.machines if m is not machine)
        )
        text = (
            f"ask job {machine.booked_by} for {format_binary(machine.memory_bytes)} that it has booked on "
            f"{host.name}"
        )
        hosts = (*problem.hosts[:h], free, *problem.hosts[h + 1 :])
        yield (
            mend_of("booked", text, more=machine.memory_bytes / _GIB / 100),
            replace(problem, hosts=hosts, reserve=reserve),
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
                yield mend_of("attach", text, more=len(missing) / 10), _with_host(tables.problem, h, wider)


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
                    yield mend_of("attach", text, more=0.5), _with_host(tables.problem, h, wider)


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
                mend_of("more room", text, more=max(free, promise) / _GIB / 100),
                replace(problem, pools=pools),
            )
