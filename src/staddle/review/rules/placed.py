"""Rules about a settled placement as a whole: whether it still holds, and how full hosts become by it."""

from collections.abc import Iterator
from typing import Final

from staddle.estate.room import vcpus_offered
from staddle.kernel import Severity, format_binary
from staddle.placement.keeping import keeping_of
from staddle.placement.verify import broken_rules
from staddle.placement.watching import SeenAt, drifted
from staddle.plan.orders import machine_name
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, found_fault, rule
from staddle.review.standing import needs_on, standings

_NEEDS: Final = (Need.ESTATE, Need.PROBLEM, Need.SEATS)
_MEMORY_PERCENT: Final = 85
_NODE_PERCENT: Final = 90
_VCPUS_PER_CORE: Final = 2


@rule(
    name="placement-not-askable",
    severity=Severity.STOP,
    title="The placement question has faults",
    reason="no place can be found for members whose needs are not known",
    mend="mend the design or the estate at the named place",
)
def placement_not_askable(facts: Facts) -> Iterator[Found]:
    yield from (found_fault(fault) for fault in facts.placement_faults)


@rule(
    name="placement-broken",
    severity=Severity.STOP,
    title="The settled placement breaks a rule",
    reason="estate, bookings or design have changed since it was settled",
    mend="place the members again",
    needs=(Need.PROBLEM, Need.SEATS),
)
def placement_broken(facts: Facts) -> Iterator[Found]:
    for sentence in broken_rules(facts.get_problem(), facts.get_seats()):
        yield Found(what=sentence, where="placement.yaml")


@rule(
    name="placement-not-kept",
    severity=Severity.RISK,
    title="A member runs elsewhere than it was settled, by the survey",
    reason="somebody, or a platform that balances by itself, has moved it; one failure may now take more than it should",
    mend="move it back and set what the answer sheet says under 'to set on the platform'; or place anew and settle that",
    needs=_NEEDS,
)
def placement_not_kept(facts: Facts) -> Iterator[Found]:
    problem, job = facts.get_problem(), facts.design.job.name
    hosts, names = {room.name for room in problem.hosts}, {need.name for need in problem.members}
    seats = tuple(seat for seat in facts.get_seats() if seat.host in hosts and seat.member in names)
    guests = {guest.name: guest for guest in facts.get_estate().guests}
    seen = {
        seat.member: SeenAt(host=guest.host, pool=guest.pool)
        for seat in seats
        if (guest := guests.get(machine_name(job, seat.member))) is not None
    }
    for one in drifted(keeping_of(problem, seats), seen) if seen else ():
        yield Found(what=one.what, where=", ".join(one.members))


@rule(
    name="host-memory-full",
    severity=Severity.RISK,
    title=f"A host has more than {_MEMORY_PERCENT} % of its memory in use",
    reason="nothing is left for guests that must restart here, nor for the growth of those that run",
    mend="place the member elsewhere, or move guests away",
    needs=_NEEDS,
)
def host_memory_full(facts: Facts) -> Iterator[Found]:
    left = {room.name: room.memory_bytes for room in facts.get_problem().hosts}
    for host in dict.fromkeys(one.host for one in standings(facts)):
        if host.name not in left:
            continue
        needs_bytes = sum(need.memory_bytes for need in needs_on(facts, host))
        used_bytes = host.memory_bytes - left[host.name] + needs_bytes
        if 100 * used_bytes > _MEMORY_PERCENT * host.memory_bytes:
            yield Found(
                what=f"host {host.name} has {format_binary(used_bytes)} of {format_binary(host.memory_bytes)} in use "
                f"with its members, {100 * used_bytes // host.memory_bytes} %",
                where=f"host {host.name}",
            )


@rule(
    name="many-vcpus-per-core",
    severity=Severity.RISK,
    title=f"A host has more than {_VCPUS_PER_CORE} vCPUs a core",
    reason="members wait for a core when the others work; a cluster is as slow as its slowest member",
    mend="place the member elsewhere, or move guests away",
    needs=_NEEDS,
)
def many_vcpus_per_core(facts: Facts) -> Iterator[Found]:
    guests = facts.get_estate().guests
    left = {room.name: room.vcpus for room in facts.get_problem().hosts}
    for host in dict.fromkeys(one.host for one in standings(facts)):
        run = sum(guest.vcpus for guest in guests if guest.host == host.name)
        # What is booked for other jobs shows in what is left; nothing is left where the guests exceed the host's limit.
        taken = vcpus_offered(host) - left.get(host.name, 0) if left.get(host.name) else 0
        vcpus = max(run, taken) + sum(need.vcpus for need in needs_on(facts, host))
        if vcpus > _VCPUS_PER_CORE * host.cores:
            yield Found(
                what=f"host {host.name} has {vcpus} vCPUs on {host.cores} cores with its members, "
                f"{vcpus / host.cores:.2f} a core",
                where=f"host {host.name}",
            )


@rule(
    name="member-fills-numa-node",
    severity=Severity.RISK,
    title=f"A member needs more than {_NODE_PERCENT} % of a NUMA node's memory",
    reason="the host keeps some of each node for itself, so that part of the member's memory lies on another node, "
    "1.3 to 2 times as far",
    mend="take a smaller size and more members, or hosts with larger nodes",
    needs=_NEEDS,
)
def member_fills_numa_node(facts: Facts) -> Iterator[Found]:
    needs = {need.name: need for need in facts.get_problem().members}
    for one in standings(facts):
        need = needs.get(one.member.name)
        if need is None or one.host.numa_nodes < 1:
            continue
        node_bytes = one.host.memory_bytes // one.host.numa_nodes
        if 100 * need.memory_bytes > _NODE_PERCENT * node_bytes:
            yield Found(
                what=f"{need.name} has {format_binary(need.memory_bytes)}, "
                f"one NUMA node of host {one.host.name} has {format_binary(node_bytes)}",
                where=f"host {one.host.name}",
            )


@rule(
    name="cpu-levels-differ",
    severity=Severity.NOTE,
    title="Members that hold data stand on hosts of different CPU levels",
    reason="a member that moves between them sees another processor, and members are not equally fast",
    mend="place them on hosts of one level, or let the platform level them to the oldest",
    needs=(Need.ESTATE, Need.SEATS),
)
def cpu_levels_differ(facts: Facts) -> Iterator[Found]:
    held = [one for one in standings(facts) if one.member.data]
    if len({one.host.cpu_level for one in held}) > 1:
        yield Found(
            what="; ".join(
                f'{one.member.name} on "{one.host.cpu_level}" (host {one.host.name})' for one in held
            ),
            where="placement.yaml",
        )
