"""What the placement drawing shows, as frozen values, and how it follows from estate, question and placement.

No drawing in here (placement_drawing.py). All amounts are whole bytes.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from staddle.estate.model import Estate, Host, Pool
from staddle.failures.domains import Above, domains_above, pool_domains_above
from staddle.placement.model import DiskNeed, HostRoom, MemberNeed, Placement, PoolRoom, Problem, Seat

__all__ = [
    "Elevation",
    "FeedElevation",
    "HostElevation",
    "PoolElevation",
    "RackElevation",
    "SiteElevation",
    "StoneElevation",
    "fitted",
    "placement_drawing_data",
]

NO_SITE: Final = "no site stated"
NO_RACK: Final = "no rack stated"
_RACK_HOSTS: Final = 8  # more boxes in one rack become too low for their lettering on an A4 sheet
_SHEET_HOSTS: Final = 48
_SITE_POOLS: Final = 8


@dataclass(frozen=True, slots=True, kw_only=True)
class StoneElevation:
    """One member of the cluster, where it stands."""

    member: str
    memory_bytes: int
    data: bool = True
    votes: bool = True
    leads: str = "never"


@dataclass(frozen=True, slots=True, kw_only=True)
class HostElevation:
    """One host: what it keeps for itself, what guests and bookings of others take, and our members."""

    name: str
    memory_bytes: int
    reserved_bytes: int
    used_bytes: int
    members: tuple[StoneElevation, ...] = ()

    @property
    def ours_bytes(self) -> int:
        """What our members take."""
        return sum(member.memory_bytes for member in self.members)


@dataclass(frozen=True, slots=True, kw_only=True)
class RackElevation:
    """One rack, its hosts from the top, and how many more there are that the drawing leaves out."""

    name: str
    hosts: tuple[HostElevation, ...]
    further: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedElevation:
    """One power feed and the racks in which a host hangs on it."""

    name: str
    racks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolElevation:
    """One storage pool. ``inside_host`` names the host whose disks it is made of, "" for shared storage."""

    name: str
    capacity_bytes: int
    used_bytes: int
    ours_bytes: int
    floor_percent: float
    inside_host: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteElevation:
    """One site: a stretch of ground with its racks, pools and feeds, and what the drawing leaves out."""

    name: str
    racks: tuple[RackElevation, ...]
    pools: tuple[PoolElevation, ...] = ()
    feeds: tuple[FeedElevation, ...] = ()
    further_racks: int = 0
    further_pools: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Elevation:
    """All sites in the order in which the estate's tables name them."""

    sites: tuple[SiteElevation, ...]


def placement_drawing_data(estate: Estate, problem: Problem, placement: Placement | None) -> Elevation:
    """What is drawn of a placement; of None, the estate without members.

    What others take is what the estate offers less what the question says is left, so that bookings count too.

    Raises: InputRefused: the estate's domains stand inside each other.
    """
    seats = placement.seats if placement is not None else ()
    above, above_pools = domains_above(estate), pool_domains_above(estate)
    host_site = {host.name: _nearest(above[host.name], "site", NO_SITE) for host in estate.hosts}
    pool_site = {pool.name: _nearest(above_pools[pool.name], "site", NO_SITE) for pool in estate.pools}
    names = dict.fromkeys([d.name for d in estate.domains if d.kind == "site"])
    names |= dict.fromkeys([*host_site.values(), *pool_site.values()])
    return Elevation(
        sites=tuple(
            _site(
                name,
                [host for host in estate.hosts if host_site[host.name] == name],
                [pool for pool in estate.pools if pool_site[pool.name] == name],
                above,
                above_pools,
                problem,
                seats,
            )
            for name in names
        )
    )


def _nearest(above: Above, kind: str, otherwise: str = "") -> str:
    return next((name for found, name in above if found == kind), otherwise)


def _site(
    name: str,
    hosts: Sequence[Host],
    pools: Sequence[Pool],
    above: Mapping[str, Above],
    above_pools: Mapping[str, Above],
    problem: Problem,
    seats: Sequence[Seat],
) -> SiteElevation:
    rooms = {room.name: room for room in problem.hosts}
    pool_rooms = {room.name: room for room in problem.pools}
    needs = {need.name: need for need in problem.members}
    racks: dict[str, list[HostElevation]] = {}
    feeds: dict[str, dict[str, None]] = {}
    for host in hosts:
        rack = _nearest(above[host.name], "rack", NO_RACK)
        racks.setdefault(rack, []).append(_host(host, rooms.get(host.name), needs, seats))
        for kind, feed in above[host.name]:
            if kind == "feed":
                feeds.setdefault(feed, {})[rack] = None
    return SiteElevation(
        name=name,
        racks=tuple(RackElevation(name=rack, hosts=tuple(stand)) for rack, stand in racks.items()),
        pools=tuple(
            _pool(pool, pool_rooms.get(pool.name), needs, seats, _nearest(above_pools[pool.name], "host"))
            for pool in pools
        ),
        feeds=tuple(FeedElevation(name=feed, racks=tuple(on)) for feed, on in feeds.items()),
    )


def _host(
    host: Host, room: HostRoom | None, needs: Mapping[str, MemberNeed], seats: Sequence[Seat]
) -> HostElevation:
    offered = host.memory_bytes - host.reserved_memory_bytes
    return HostElevation(
        name=host.name,
        memory_bytes=host.memory_bytes,
        reserved_bytes=host.reserved_memory_bytes,
        used_bytes=max(0, offered - room.memory_bytes) if room is not None else 0,
        members=tuple(_stone(needs[seat.member]) for seat in seats if seat.host == host.name),
    )


def _stone(need: MemberNeed) -> StoneElevation:
    return StoneElevation(
        member=need.name,
        memory_bytes=need.memory_bytes,
        data=need.data,
        votes=need.votes,
        leads=need.leads,
    )


def _pool(
    pool: Pool, room: PoolRoom | None, needs: Mapping[str, MemberNeed], seats: Sequence[Seat], inside: str
) -> PoolElevation:
    # Bookings of others are not in the table's used_bytes; the room left above the floor knows them.
    floor_bytes = round(pool.capacity_bytes * pool.floor_percent / 100)
    used = pool.used_bytes
    if room is not None and room.free_bytes > 0:
        used = max(used, pool.capacity_bytes - floor_bytes - room.free_bytes)
    return PoolElevation(
        name=pool.name,
        capacity_bytes=pool.capacity_bytes,
        used_bytes=used,
        ours_bytes=sum(need.written_bytes for need in _disks_in(pool.name, needs, seats)),
        floor_percent=pool.floor_percent,
        inside_host=inside,
    )


def _disks_in(pool: str, needs: Mapping[str, MemberNeed], seats: Sequence[Seat]) -> Iterable[DiskNeed]:
    for seat in seats:
        where = dict(seat.disks)
        yield from (disk for disk in needs[seat.member].disks if where.get(disk.disk_id) == pool)


def fitted(elevation: Elevation) -> Elevation:
    """The elevation with no more on it than an A4 sheet can show; what is left out is counted, members never are.

    Every rack keeps the hosts with members and the first others. On a large estate a site keeps the racks and the
    pools that hold something of ours, and one more of each.
    """
    sites = tuple(
        replace(_fitted_pools(site), racks=tuple(map(_fitted_rack, site.racks))) for site in elevation.sites
    )
    if sum(len(rack.hosts) for site in sites for rack in site.racks) <= _SHEET_HOSTS:
        return Elevation(sites=sites)
    return Elevation(sites=tuple(map(_fitted_site, sites)))


def _fitted_rack(rack: RackElevation) -> RackElevation:
    if len(rack.hosts) <= _RACK_HOSTS:
        return rack
    spare = max(0, _RACK_HOSTS - sum(bool(host.members) for host in rack.hosts))
    others = [host.name for host in rack.hosts if not host.members][:spare]
    kept = tuple(host for host in rack.hosts if host.members or host.name in others)
    return replace(rack, hosts=kept, further=rack.further + len(rack.hosts) - len(kept))


def _fitted_pools(site: SiteElevation) -> SiteElevation:
    if len(site.pools) <= _SITE_POOLS:
        return site
    spare = max(0, _SITE_POOLS - sum(pool.ours_bytes > 0 for pool in site.pools))
    others = [pool.name for pool in site.pools if pool.ours_bytes == 0][:spare]
    kept = tuple(pool for pool in site.pools if pool.ours_bytes or pool.name in others)
    return replace(site, pools=kept, further_pools=len(site.pools) - len(kept))


def _fitted_site(site: SiteElevation) -> SiteElevation:
    used = [rack for rack in site.racks if any(host.members for host in rack.hosts)]
    empty = [rack for rack in site.racks if rack not in used][:1]
    kept = tuple(rack for rack in site.racks if rack in used or rack in empty)
    names = {rack.name for rack in kept}
    feeds = tuple(
        replace(feed, racks=tuple(rack for rack in feed.racks if rack in names))
        for feed in site.feeds
        if names & set(feed.racks)
    )
    return replace(site, racks=kept, feeds=feeds, further_racks=len(site.racks) - len(kept))
