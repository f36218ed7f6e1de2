"""The placement question of one design or several: what each member takes, what each host and pool has left.

Pure. Room left is the estate's computation (estate/bookings.py), what stands in what the failures' (failures/domains.py),
what must hold after a failure stands in after.py.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from staddle.design.attached import attached_rows
from staddle.design.limits import Limits
from staddle.design.limitvalues import processor_reaches
from staddle.design.model import Design, DiskChoice, Member
from staddle.design.sentences import AtMost, DeputyBy, OneCpuLevel, VotesBy, parse_apart
from staddle.estate.bookings import Booking, room_left
from staddle.estate.model import Estate
from staddle.failures.domains import domains_above, pool_domains_above
from staddle.failures.scenario import Scenario
from staddle.kernel import Fault, InputRefused, StaddleError, format_decimal
from staddle.package.model import Hardware, Package, PackageDisk
from staddle.placement.after import afterwards, running_guests, stands_after, survive_of
from staddle.placement.distance import round_trip_limit, too_far
from staddle.placement.model import (
    Apart,
    ClusterRules,
    DiskNeed,
    HostRoom,
    MemberNeed,
    PoolRoom,
    Problem,
    Reserve,
    Seat,
    Survive,
)

__all__ = ["ClusterAsk", "disk_needs", "problem_from", "problem_of_many"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterAsk:
    """One cluster to place. ``name`` is "" for the only one; ``limits`` are the maker's, None where nobody wrote them."""

    name: str = ""
    design: Design
    package: Package
    settled: tuple[Seat, ...] = ()
    limits: Limits | None = None


def problem_from(
    *,
    design: Design,
    estate: Estate,
    package: Package,
    bookings: Iterable[Booking] = (),
    settled: tuple[Seat, ...] = (),
    limits: Limits | None = None,
) -> Problem:
    """The question that one design asks. As problem_of_many."""
    ask = ClusterAsk(design=design, package=package, settled=settled, limits=limits)
    return problem_of_many((ask,), estate=estate, bookings=bookings)


def problem_of_many(
    asks: Sequence[ClusterAsk], *, estate: Estate, bookings: Iterable[Booking] = ()
) -> Problem:
    """The question that several designs ask together of one estate.

    A placement group of the package (DSP0243, its placement sections) is honoured: "availability" keeps members apart by host
    at least, "affinity" keeps them at one site; on one host they would be no cluster. The deputy is kept apart from the leader by host where the design's ``apart`` does not say so already. A host or pool
    with less than nothing left has 0. Bookings of other jobs count as machines of theirs after a failure too.

    Args: asks: members have different names throughout; bookings: those that stand (estate.bookings.standing) for others.
    Raises: InputRefused: a design names a size, disk or network that does not exist, or a disk smaller than the
        package's, or a domain that is not there; every fault at once. Sentences that are not understood were refused by
        the design's reader.
    """
    booked = tuple(bookings)
    faults: list[Fault] = []
    members: list[MemberNeed] = []
    survive: list[Survive] = []
    known: dict[str, tuple[Scenario, ...]] = {}
    after = [afterwards(ask.design) for ask in asks]
    for ask in asks:
        faults += [*_network_faults(ask.design, estate), *_disk_faults(ask.design, ask.package)]
        needs = (_member(member, ask, estate, faults) for member in ask.design.members)
        members += [need for need in needs if need is not None]
        survive += survive_of(ask.design, estate, cluster=ask.name, faults=faults, known=known)
    if faults:
        raise InputRefused(*dict.fromkeys(faults))
    hosts, pools = _rooms(estate, booked)
    return Problem(
        members=tuple(members),
        hosts=hosts,
        pools=pools,
        clusters=tuple(_rules(ask, estate) for ask in asks),
        settled=tuple(seat for ask in asks for seat in ask.settled),
        reserve=Reserve(
            survive=tuple(survive),
            machines=running_guests(estate, booked),
            stands=stands_after(estate, [one.vcpu_per_core for one in after]),
            apart_after=tuple(
                ask.name for ask, one in zip(asks, after, strict=True) if one.members_share_no_host
            ),
        ),
    )


def _rules(ask: ClusterAsk, estate: Estate) -> ClusterRules:
    rows = [parse_apart(text) for text in ask.design.apart]
    apart = tuple(
        Apart(kind=row.kind, most=row.most, key=f"apart[{number}]")
        for number, row in enumerate(rows)
        if isinstance(row, AtMost)
    )
    policy = ask.package.get_placement_group()
    if policy is not None and policy.policy == "apart" and not any(row.kind == "host" for row in apart):
        apart = (*apart, Apart(kind="host", key="package.file"))
    by_host = any(row.kind == "host" and row.most == 1 for row in apart)
    deputy = tuple(row.kind for row in rows if isinstance(row, DeputyBy))
    return ClusterRules(
        name=ask.name,
        apart=apart,
        deputy_apart=deputy or (() if by_host else ("host",)),
        majority_kinds=tuple(row.kind for row in rows if isinstance(row, VotesBy)),
        allowed_pools=ask.design.storage.pools,
        one_cpu_level=any(isinstance(row, OneCpuLevel) for row in rows),
        too_far=too_far(estate, round_trip_limit(ask.design, ask.limits)),
        together=("site",) if policy is not None and policy.policy == "together" else (),
    )


def disk_needs(design: Design, package: Package, hardware: Hardware) -> tuple[DiskNeed, ...]:
    """What the disks of one member take, in the order of the hardware.

    Thick: promised and written is the capacity. Thin: promised is the capacity, written what the maker states as
    populated, the parents of the disk included, else the capacity; an empty disk starts with nothing. Each disk adds its own allowance for snapshots,
    and the first one the swap file, both promised and written; percentages are rounded up.

    Raises: InputRefused: the package lacks a disk, or the design asks for a smaller one.
    """
    choices = {choice.disk: choice for choice in design.storage.disks}
    swap_bytes = _percent(hardware.memory_bytes, design.storage.swap_percent)
    needs = []
    for position, device in enumerate(hardware.disks):
        disk = package.get_disk(device.disk_id)
        choice = choices.get(
            disk.disk_id, DiskChoice(disk=disk.disk_id, allocation=design.storage.allocation)
        )
        capacity_bytes = _capacity(disk, choice, hardware.size_id)
        extra_bytes = _percent(capacity_bytes, design.storage.snapshot_percent) + (
            swap_bytes if position == 0 else 0
        )
        written_bytes = (
            capacity_bytes if choice.allocation == "thick" else _populated(package, disk, capacity_bytes)
        )
        needs.append(
            DiskNeed(
                disk_id=disk.disk_id,
                promised_bytes=capacity_bytes + extra_bytes,
                written_bytes=written_bytes + extra_bytes,
            )
        )
    return tuple(needs)


def _percent(amount: int, percent: int) -> int:
    return -(-amount * percent // 100)


def _populated(package: Package, disk: PackageDisk, capacity_bytes: int) -> int:
    """What a thin disk holds at first: its own blocks and those of its parents, each once; the capacity where one is not stated."""
    parts = [0 if link.file_id is None else link.populated_bytes for link in package.chain_of(disk.disk_id)]
    known = [part for part in parts if part is not None]
    # A child's blocks replace its parent's, so that their sum can be above what the disk can hold.
    return min(sum(known), capacity_bytes) if len(known) == len(parts) else capacity_bytes


def _capacity(disk: PackageDisk, choice: DiskChoice, size_id: str) -> int:
    shipped_bytes = disk.capacity_for(size_id)
    if choice.capacity_bytes is not None and choice.capacity_bytes < shipped_bytes:
        raise InputRefused.one(
            f'disk "{disk.disk_id}" shall have {choice.capacity}, the package\'s has {format_decimal(shipped_bytes)}',
            where="storage.disks",
            why="a disk can be made larger, not smaller",
            mend="name a larger capacity, or leave it out",
        )
    return choice.capacity_bytes or shipped_bytes


def _network_faults(design: Design, estate: Estate) -> Iterable[Fault]:
    known = [network.name for network in estate.networks]
    for attachment in design.networks:
        if attachment.estate not in known:
            yield Fault(
                what=f'there is no network "{attachment.estate}" on the estate',
                where="networks",
                why=f"its networks are {', '.join(known) or 'none'}",
                mend="name one of these",
            )


def _disk_faults(design: Design, package: Package) -> Iterable[Fault]:
    known = [disk.disk_id for disk in package.disks]
    for choice in design.storage.disks:
        if choice.disk not in known:
            yield Fault(
                what=f'the package has no disk "{choice.disk}"',
                where="storage.disks",
                why=f"its disks are {', '.join(known) or 'none'}",
                mend="name one of these",
            )


def _member(member: Member, ask: ClusterAsk, estate: Estate, faults: list[Fault]) -> MemberNeed | None:
    design, package = ask.design, ask.package
    try:
        hardware = package.get_hardware(member.size or design.package.size or package.default_size())
        disks = disk_needs(design, package, hardware)
    except StaddleError as exc:
        faults += exc.faults
        return None
    used = {adapter.network for adapter in hardware.adapters}
    attached = [design.networks[row] for row in attached_rows(design.networks, member)]
    return MemberNeed(
        name=member.name,
        memory_bytes=hardware.memory_bytes,
        vcpus=hardware.processors,
        disks=disks,
        networks=tuple(dict.fromkeys(row.estate for row in attached if row.package in used)),
        cpu_levels=_cpu_levels(member, hardware.size_id, ask.limits, estate),
        site=member.site,
        pinned_to=member.host,
        keep_out=member.keep_out,
        votes=member.votes,
        leads=member.leads,
        data=member.data,
        cluster=ask.name,
        vcpu_per_core=design.package.vcpu_per_core or 0,
    )


def _cpu_levels(member: Member, size_id: str, limits: Limits | None, estate: Estate) -> tuple[str, ...]:
    """The estate's CPU levels on which the maker lets it run; () where the maker's limits exclude none.

    A level that cannot be compared with the maker's is not excluded: the review says that it is unknown.
    """
    least = [row for row in limits.of("processor-level") if row.is_about(member, size_id)] if limits else []
    levels = dict.fromkeys(host.cpu_level for host in estate.hosts)
    fit = tuple(
        one for one in levels if all(processor_reaches(one, row.written) is not False for row in least)
    )
    return () if len(fit) == len(levels) else fit or tuple(dict.fromkeys(row.written for row in least))


def _rooms(estate: Estate, bookings: Iterable[Booking]) -> tuple[tuple[HostRoom, ...], tuple[PoolRoom, ...]]:
    left = room_left(estate, bookings)
    above_hosts, above_pools = domains_above(estate), pool_domains_above(estate)
    hosts = tuple(
        HostRoom(
            name=host.name,
            memory_bytes=max(0, left.hosts[host.name].memory_bytes),
            vcpus=max(0, left.hosts[host.name].vcpus),
            memory_total_bytes=host.memory_bytes,
            networks=host.networks,
            pools=host.pools,
            domains=tuple(key for key in above_hosts[host.name] if key != ("host", host.name)),
            cpu_level=host.cpu_level,
            node_cores=host.cores // max(1, host.numa_nodes),
            node_memory_bytes=host.memory_bytes // max(1, host.numa_nodes),
            vcpu_per_core=host.vcpu_per_core,
            guest_overhead_percent=host.guest_overhead_percent,
        )
        for host in estate.hosts
    )
    pools = tuple(
        PoolRoom(
            name=pool.name,
            free_bytes=max(0, left.pools[pool.name].free_bytes),
            promise_bytes=max(0, left.pools[pool.name].promise_bytes),
            capacity_bytes=pool.capacity_bytes,
            domains=tuple(key for key in above_pools[pool.name] if key != ("pool", pool.name)),
        )
        for pool in estate.pools
    )
    return hosts, pools
