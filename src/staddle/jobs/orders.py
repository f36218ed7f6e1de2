"""From design, package, placement, addresses and answers to the orders that a rollout pins. Copies, decides nothing."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from staddle.answers.model import AnswerRow
from staddle.design.model import DiskChoice, Member
from staddle.estate.room import memory_with_overhead, vcpus_weighed
from staddle.failures.domains import domains_above
from staddle.jobs.gather import Gathered
from staddle.package import Hardware
from staddle.placement.keeping import keeping_of, lines_of
from staddle.placement.model import Seat
from staddle.placement.problem import disk_needs
from staddle.plan.catalogue import limits_of, steps_of
from staddle.plan.orders import (
    AdapterOrder,
    ClusterStep,
    DiskOrder,
    MemberOrder,
    Plan,
    RoomOrder,
    machine_name,
)

__all__ = ["plan_of_job"]


def plan_of_job(
    job: Gathered,
    seats: Sequence[Seat],
    answers: Mapping[str, Sequence[AnswerRow]],
    *,
    purpose: str,
    tag: str,
    package_sha256: str,
    file_sha256: Mapping[str, str],
) -> Plan:
    """The plan of one rollout.

    Args: seats: one for each member of the design; answers: each member's rows, none of them open; file_sha256: of every
        file of the package, as verified.
    """
    by_member = {seat.member: seat for seat in seats}
    kept = keeping_of(job.get_problem(), tuple(seats))
    members, rooms = [], []
    for member in job.design.members:
        seat = by_member[member.name]
        hardware = job.package.get_hardware(member.size or job.size_id)
        order = _member(job, member, seat, hardware, answers[member.name], file_sha256)
        members.append(replace(order, keeping=lines_of(kept, member.name)))
        rooms.append(_room(job, seat, hardware))
    has_deputy = any(member.leads == "second" for member in job.design.members)
    cluster_steps = _cluster_steps(job, has_deputy)
    steps = steps_of(members, cluster_steps)
    return Plan(
        job=job.design.job.name,
        cluster=job.design.job.cluster,
        tag=tag,
        purpose=purpose,
        package_sha256=package_sha256,
        join_secret_s=int(job.design.trust.join_secret_span.total_seconds()),
        most_offset_ms=int(job.design.clock.most_offset_span.total_seconds() * 1000),
        fingerprint_source=job.design.trust.fingerprint,
        zone=job.design.names.zone,
        product=job.package.product,
        version=job.package.version,
        members=tuple(members),
        rooms=tuple(rooms),
        cluster_steps=cluster_steps,
        steps=steps,
        limits=limits_of(steps),
    )


def new_tag(rollout_id: str, now: datetime, token: bytes) -> str:
    """A mark that no other rollout has: its name, and digits drawn once."""
    drawn = hashlib.sha256(token + now.isoformat().encode()).hexdigest()[:10]
    return f"staddle/{rollout_id}/{drawn}"


def _member(
    job: Gathered,
    member: Member,
    seat: Seat,
    hardware: Hardware,
    answers: Sequence[AnswerRow],
    file_sha256: Mapping[str, str],
) -> MemberOrder:
    addresses = job.get_addresses()
    mine = {a.package_network: a for a in addresses.get_member(member.name).addresses}
    machine = machine_name(job.design.job.name, member.name)
    above = domains_above(job.reading.estate)[seat.host]
    return MemberOrder(
        member=member.name,
        machine=machine,
        fqdn=addresses.get_member(member.name).full_name,
        site=next((name for kind, name in above if kind == "site"), ""),
        host=seat.host,
        size=hardware.size_id,
        processors=hardware.processors,
        memory_bytes=hardware.memory_bytes,
        disks=tuple(
            _disk(job, machine, disk_id, pool, hardware.size_id, file_sha256) for disk_id, pool in seat.disks
        ),
        adapters=tuple(
            AdapterOrder(
                name=adapter.name,
                package_network=adapter.network,
                network=mine[adapter.network].estate_network,
                address=mine[adapter.network].address,
                prefix_length=mine[adapter.network].prefix_length,
            )
            for adapter in hardware.adapters
            if adapter.network in mine
        ),
        address=addresses.named_address(member.name).address,
        port=job.get_profile().port,
        answers=tuple((row.key, row.value) for row in answers if row.value is not None),
        secret_answers=tuple((row.key, row.secret) for row in answers if row.secret),
        labels=tuple((row.key, row.label) for row in answers),
        data=member.data,
        votes=member.votes,
        leads=member.leads,
    )


def _disk(
    job: Gathered, machine: str, disk_id: str, pool: str, size_id: str, file_sha256: Mapping[str, str]
) -> DiskOrder:
    disk = job.package.get_disk(disk_id)
    file = None if disk.file_id is None else job.package.get_file(disk.file_id)
    storage = job.design.storage
    choice = next(
        (c for c in storage.disks if c.disk == disk_id),
        DiskChoice(disk=disk_id, allocation=storage.allocation),
    )
    return DiskOrder(
        name=f"{machine}-{disk_id}",
        disk_id=disk_id,
        pool=pool,
        capacity_bytes=choice.capacity_bytes or disk.capacity_for(size_id),
        allocation=choice.allocation,
        file_id=disk.file_id,
        file_bytes=0 if file is None else file.size_bytes,
        file_sha256=() if file is None else tuple(file_sha256[name] for name in file.members),
        parents=tuple(parent.disk_id for parent in job.package.chain_of(disk_id)[1:]),
    )


def _room(job: Gathered, seat: Seat, hardware: Hardware) -> RoomOrder:
    needs = {need.disk_id: need for need in disk_needs(job.design, job.package, hardware)}
    pools: dict[str, tuple[int, int]] = {}
    for disk_id, pool in seat.disks:
        promised, written = pools.get(pool, (0, 0))
        pools[pool] = (promised + needs[disk_id].promised_bytes, written + needs[disk_id].written_bytes)
    host = next(host for host in job.reading.estate.hosts if host.name == seat.host)
    own_per_core = job.design.package.vcpu_per_core or 0
    return RoomOrder(
        member=seat.member,
        host=seat.host,
        memory_bytes=memory_with_overhead(hardware.memory_bytes, host.guest_overhead_percent),
        vcpus=vcpus_weighed(hardware.processors, own_per_core, host.vcpu_per_core),
        pools=tuple((pool, promised, written) for pool, (promised, written) in pools.items()),
    )


def _cluster_steps(job: Gathered, has_deputy: bool) -> tuple[ClusterStep, ...]:
    steps: list[ClusterStep] = []
    for line in job.get_profile().cluster:
        if line.needs_deputy and not has_deputy:
            continue
        after = steps[-1].name if steps else "all"
        steps.append(ClusterStep(name=line.step, title=line.title, act=line.act, look=line.look, after=after))
    return tuple(steps)
