"""An independent check of seats against the rules at rest: plain loops, nothing shared with model or search.

The solver's answer passes through here before anyone sees it, and a settled placement is asked here whether it is
still valid.
"""

from staddle.placement.model import HostRoom, PoolRoom, Problem, Seat

__all__ = ["broken_rules"]


def broken_rules(problem: Problem, seats: tuple[Seat, ...]) -> tuple[str, ...]:
    """What the seats break, one sentence each, beginning with the rule's name. () when all rules hold.

    Args: seats: in any order; a missing, doubled or unknown seat, host or pool is named first, and alone.
    """
    broken = _badly_seated(problem, seats)
    if broken:
        return tuple(broken)
    for check in (_host_rules, _pool_rules, _host_sums, _pool_sums, _cpu_levels, _apart, _majority, _wishes):
        broken += check(problem, seats)
    return tuple(broken)


def _badly_seated(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    hosts = [host.name for host in problem.hosts]
    pools = [pool.name for pool in problem.pools]
    for member in problem.members:
        count = sum(1 for seat in seats if seat.member == member.name)
        if count != 1:
            broken.append(f"seats: {member.name} has {count} seats, not one")
    for seat in seats:
        wanted = [[d.disk_id for d in m.disks] for m in problem.members if m.name == seat.member]
        if not wanted:
            broken.append(f"seats: {seat.member} is no member")
        elif [disk for disk, _ in seat.disks] != wanted[0]:
            broken.append(f"seats: the disks of {seat.member} are not {', '.join(wanted[0]) or 'none'}")
        if seat.host not in hosts:
            broken.append(f"seats: {seat.member} stands on {seat.host}, which is no host")
        for disk, pool in seat.disks:
            if pool not in pools:
                broken.append(f"seats: disk {disk} of {seat.member} is on {pool}, which is no pool")
    return broken


def _host(problem: Problem, name: str) -> HostRoom:
    return next(host for host in problem.hosts if host.name == name)


def _pool(problem: Problem, name: str) -> PoolRoom:
    return next(pool for pool in problem.pools if pool.name == name)


def _seat(seats: tuple[Seat, ...], member: str) -> Seat:
    return next(seat for seat in seats if seat.member == member)


def _host_rules(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for member in problem.members:
        host = _host(problem, _seat(seats, member.name).host)
        for network in member.networks:
            if network not in host.networks:
                broken.append(f"networks: {host.name} lacks {network}, which {member.name} is attached to")
        if host.node_cores and member.vcpus > host.node_cores:
            broken.append(f"numa: {member.name} has more vCPUs than one node of {host.name} has cores")
        if host.node_memory_bytes and member.memory_bytes > host.node_memory_bytes:
            broken.append(f"numa: {member.name} has more memory than one node of {host.name}")
    return broken


def _pool_rules(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for seat in seats:
        host = _host(problem, seat.host)
        for disk, pool in seat.disks:
            if pool not in host.pools:
                broken.append(f"pool-reach: {host.name} does not reach {pool}, disk {disk} of {seat.member}")
            if problem.allowed_pools and pool not in problem.allowed_pools:
                broken.append(
                    f"pools-named: {pool}, disk {disk} of {seat.member}, is not among the design's pools"
                )
    return broken


def _host_sums(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for host in problem.hosts:
        memory = vcpus = 0
        for member in problem.members:
            if _seat(seats, member.name).host == host.name:
                memory += member.memory_bytes
                vcpus += member.vcpus
        if memory > host.memory_bytes:
            broken.append(
                f"memory: {host.name} has {host.memory_bytes} bytes left, its members need {memory}"
            )
        if vcpus > host.vcpus:
            broken.append(f"vcpus: {host.name} has {host.vcpus} vCPUs left, its members need {vcpus}")
    return broken


def _pool_sums(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for pool in problem.pools:
        written = promised = 0
        for member in problem.members:
            for position, (_, taken) in enumerate(_seat(seats, member.name).disks):
                if taken == pool.name:
                    written += member.disks[position].written_bytes
                    promised += member.disks[position].promised_bytes
        if written > pool.free_bytes:
            broken.append(
                f"pool-free: {pool.name} has {pool.free_bytes} bytes above its floor, {written} are needed"
            )
        if promised > pool.promise_bytes:
            broken.append(
                f"pool-promise: {pool.name} may promise {pool.promise_bytes} bytes, {promised} are needed"
            )
    return broken


def _cpu_levels(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    levels = []
    for member in problem.members:
        host = _host(problem, _seat(seats, member.name).host)
        if member.cpu_level and host.cpu_level != member.cpu_level:
            broken.append(
                f"cpu-level: {host.name} is not of level {member.cpu_level}, which {member.name} needs"
            )
        if member.data and host.cpu_level not in levels:
            levels.append(host.cpu_level)
    if problem.one_cpu_level and len(levels) > 1:
        broken.append(f"cpu-level: members that hold data stand on hosts of {len(levels)} CPU levels")
    return broken


def _stands_in(problem: Problem, seat: Seat, kind: str) -> list[str]:
    """The names of all domains of that kind that touch the member: through its host or through a pool of its disks."""
    pairs = [("host", seat.host), *_host(problem, seat.host).domains]
    for _, pool in seat.disks:
        pairs += [("pool", pool), *_pool(problem, pool).domains]
    return [name for own, name in pairs if own == kind]


def _apart(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    leads = {member.name: member.leads for member in problem.members}
    for position, one in enumerate(seats):
        for other in seats[position + 1 :]:
            pair = {leads[one.member], leads[other.member]}
            kinds = [("apart", kind) for kind in problem.apart]
            if pair == {"first", "second"}:
                kinds += [("deputy-apart", kind) for kind in problem.deputy_apart]
            for rule, kind in kinds:
                for name in _stands_in(problem, one, kind):
                    if name in _stands_in(problem, other, kind):
                        broken.append(f"{rule}:{kind}: {one.member} and {other.member} share {kind} {name}")
    return list(dict.fromkeys(broken))


def _majority(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    voters = [member.name for member in problem.members if member.votes]
    for kind in problem.majority_kinds:
        held: dict[str, int] = {}
        for seat in seats:
            if seat.member in voters:
                for name in dict.fromkeys(_stands_in(problem, seat, kind)):
                    held[name] = held.get(name, 0) + 1
        for name, count in held.items():
            if 2 * count >= len(voters):
                broken.append(f"majority:{kind}: {kind} {name} holds {count} of {len(voters)} votes")
    return broken


def _wishes(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for member in problem.members:
        seat = _seat(seats, member.name)
        host = _host(problem, seat.host)
        if member.pinned_to and seat.host != member.pinned_to:
            broken.append(f"pin: {member.name} stands on {seat.host}, not on {member.pinned_to}")
        if member.site and ("site", member.site) not in host.domains:
            broken.append(f"site: {member.name} stands on {seat.host}, which is not at {member.site}")
        pairs = list(host.domains)
        for _, pool in seat.disks:
            pairs += _pool(problem, pool).domains
        names = [seat.host, *(pool for _, pool in seat.disks), *(name for _, name in pairs)]
        for name in member.keep_out:
            if name in names:
                broken.append(f"keep-out: {member.name} is touched by {name}, which it keeps out of")
    return broken
