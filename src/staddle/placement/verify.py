"""An independent check of seats against the rules at rest: plain loops, nothing shared with model or search.

The solver's answer passes through here before anyone sees it, and a settled placement is asked here whether it is
still valid.
"""

from fractions import Fraction
from math import ceil

from staddle.placement.model import ClusterRules, HostRoom, MemberNeed, PoolRoom, Problem, Seat

__all__ = ["broken_rules"]


def broken_rules(problem: Problem, seats: tuple[Seat, ...]) -> tuple[str, ...]:
    """What the seats break, one sentence each, beginning with the rule's name. () when all rules hold.

    Args: seats: in any order; a missing, doubled or unknown seat, host or pool is named first, and alone.
    """
    broken = _badly_seated(problem, seats)
    if broken:
        return tuple(broken)
    for check in (_host_rules, _pool_rules, _host_sums, _pool_sums, _wishes):
        broken += check(problem, seats)
    for rules in problem.clusters:
        own = [member.name for member in problem.members if member.cluster == rules.name]
        theirs = tuple(seat for seat in seats if seat.member in own)
        for rule in (_cpu_levels, _too_far, _together, _apart, _majority):
            broken += rule(problem, rules, theirs)
    broken += _left_after(problem, seats)
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


def _clusters(problem: Problem, name: str) -> ClusterRules:
    return next(rules for rules in problem.clusters if rules.name == name)


def _pool(problem: Problem, name: str) -> PoolRoom:
    return next(pool for pool in problem.pools if pool.name == name)


def _member(problem: Problem, name: str) -> MemberNeed:
    return next(member for member in problem.members if member.name == name)


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
            allowed = _clusters(problem, _member(problem, seat.member).cluster).allowed_pools
            if allowed and pool not in allowed:
                broken.append(
                    f"pools-named: {pool}, disk {disk} of {seat.member}, is not among the design's pools"
                )
    return broken


def _host_sums(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for name in dict.fromkeys(seat.host for seat in seats):
        host = _host(problem, name)
        memory = vcpus = 0
        for seat in seats:
            if seat.host == name:
                member = _member(problem, seat.member)
                overhead = Fraction(str(host.guest_overhead_percent))
                memory += ceil(member.memory_bytes * (100 + overhead) / 100)
                own, theirs = Fraction(str(member.vcpu_per_core)), Fraction(str(host.vcpu_per_core))
                vcpus += ceil(member.vcpus * theirs / own) if 0 < own < theirs else member.vcpus
        if memory > host.memory_bytes:
            broken.append(
                f"memory: {host.name} has {host.memory_bytes} bytes left, its members need {memory}"
            )
        if vcpus > host.vcpus:
            broken.append(f"vcpus: {host.name} has {host.vcpus} vCPUs left, its members need {vcpus}")
    return broken


def _pool_sums(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for name in dict.fromkeys(pool for seat in seats for _, pool in seat.disks):
        pool = _pool(problem, name)
        written = promised = 0
        for seat in seats:
            for position, (_, taken) in enumerate(seat.disks):
                if taken == name:
                    disk = _member(problem, seat.member).disks[position]
                    written += disk.written_bytes
                    promised += disk.promised_bytes
        if written > pool.free_bytes:
            broken.append(
                f"pool-free: {pool.name} has {pool.free_bytes} bytes above its floor, {written} are needed"
            )
        if promised > pool.promise_bytes:
            broken.append(
                f"pool-promise: {pool.name} may promise {pool.promise_bytes} bytes, {promised} are needed"
            )
    return broken


def _cpu_levels(problem: Problem, rules: ClusterRules, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    levels = []
    for seat in seats:
        host, member = _host(problem, seat.host), _member(problem, seat.member)
        if member.cpu_levels and host.cpu_level not in member.cpu_levels:
            broken.append(
                f"cpu-level: {host.name} is of level {host.cpu_level}, {member.name} needs {' or '.join(member.cpu_levels)}"
            )
        if member.data and host.cpu_level not in levels:
            levels.append(host.cpu_level)
    if rules.one_cpu_level and len(levels) > 1:
        broken.append(f"cpu-level: members that hold data stand on hosts of {len(levels)} CPU levels")
    return broken


def _too_far(problem: Problem, rules: ClusterRules, seats: tuple[Seat, ...]) -> list[str]:
    holding = [seat for seat in seats if _member(problem, seat.member).data]
    sites = {name for seat in holding for kind, name in _host(problem, seat.host).domains if kind == "site"}
    return [
        f"latency: data stands at {one} and at {other}, which are too far apart"
        for one, other in rules.too_far
        if one in sites and other in sites
    ]


def _stands_in(problem: Problem, seat: Seat, kind: str) -> list[str]:
    """The names of all domains of that kind that touch the member: through its host or through a pool of its disks."""
    pairs = [("host", seat.host), *_host(problem, seat.host).domains]
    for _, pool in seat.disks:
        pairs += [("pool", pool), *_pool(problem, pool).domains]
    return [name for own, name in pairs if own == kind]


def _together(problem: Problem, rules: ClusterRules, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for kind in rules.together:
        around = [
            {name for own, name in (("host", seat.host), *_host(problem, seat.host).domains) if own == kind}
            for seat in seats
        ]
        if around and not set.intersection(*around):
            broken.append(f"together:{kind}: the members stand in no {kind} that is common to all")
    return broken


def _apart(problem: Problem, rules: ClusterRules, seats: tuple[Seat, ...]) -> list[str]:
    broken = []
    for apart in rules.apart:
        for name, sharing in _sharing(problem, seats, apart.kind).items():
            if len(sharing) > apart.most:
                who = " and ".join(sharing)
                broken.append(f"apart:{apart.kind}: {who} share {apart.kind} {name}")
    for kind in rules.deputy_apart:
        for name, sharing in _sharing(problem, seats, kind).items():
            leads = {_member(problem, member).leads for member in sharing}
            if {"first", "second"} <= leads:
                broken.append(f"deputy-apart:{kind}: {' and '.join(sharing)} share {kind} {name}")
    return broken


def _sharing(problem: Problem, seats: tuple[Seat, ...], kind: str) -> dict[str, list[str]]:
    """By the name of each domain of that kind, the members that it touches."""
    found: dict[str, list[str]] = {}
    for seat in seats:
        for name in dict.fromkeys(_stands_in(problem, seat, kind)):
            found.setdefault(name, []).append(seat.member)
    return found


def _majority(problem: Problem, rules: ClusterRules, seats: tuple[Seat, ...]) -> list[str]:
    voters = [m.name for m in problem.members if m.votes and m.cluster == rules.name]
    return [
        f"majority:{kind}: {kind} {name} holds {count} of {len(voters)} votes"
        for kind in rules.majority_kinds
        for name, sharing in _sharing(problem, seats, kind).items()
        if (count := sum(member in voters for member in sharing)) and 2 * count >= len(voters)
    ]


def _left_after(problem: Problem, seats: tuple[Seat, ...]) -> list[str]:
    """What is left of a cluster after each scenario. Whether all restarts is shown where it was tested (failures)."""
    broken = []
    for survive in problem.reserve.survive if problem.reserve else ():
        members = [m for m in problem.members if m.cluster == survive.cluster]
        own = [seat for seat in seats if seat.member in {m.name for m in members}]
        for scenario in survive.scenarios:
            hosts, pools = set(scenario.hosts), set(scenario.pools)
            lost = {s.member for s in own if s.host in hosts or any(pool in pools for _, pool in s.disks)}
            left = [m for m in members if m.name not in lost]
            voting = [m for m in members if m.votes]
            leading = [m for m in members if m.leads != "never"]
            fine = (
                sum(m.data for m in left) >= survive.least_data
                and (len(voting) < 3 or 2 * sum(m.votes for m in left) > len(voting))
                and (len(leading) < 2 or any(m.leads != "never" for m in left))
            )
            if lost and not fine:
                broken.append(
                    f"survive:{survive.sentence}: after {scenario.name} too little is left without "
                    f"{', '.join(sorted(lost))}"
                )
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
