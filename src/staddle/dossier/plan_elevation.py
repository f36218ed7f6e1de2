"""What the plan shows, as frozen values: the elevation, and on it what a failure takes and what restarts where.

No drawing in here (plan_drawing.py). A rack is drawn whole, host by host, on a small estate; on a large one only where
members of ours stand or restart, and where it was opened; all racks stand in the field beside it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from staddle.dossier.elevation import Elevation, HostElevation, RackElevation, SiteElevation, StoneElevation
from staddle.failures.domains import Above
from staddle.survival.judge import Judgement

__all__ = [
    "MANY_HOSTS",
    "PlanElevation",
    "PlanFeed",
    "PlanHost",
    "PlanRack",
    "PlanSite",
    "PlanStone",
    "plan_elevation",
]

MANY_HOSTS: Final = 60
"""From so many hosts on racks are drawn small, and opened on demand: more boxes with their names fill several screens."""

_OTHER_ROOM: Final = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanStone:
    """One member at one host. ``state``: "stands", "displaced" or "lost" where it stood, "restarts" where it goes."""

    stone: StoneElevation
    state: str = "stands"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanHost:
    """One host. ``coming_bytes`` is memory of guests of others that restart here."""

    name: str
    memory_bytes: int
    reserved_bytes: int
    used_bytes: int
    coming_bytes: int = 0
    stones: tuple[PlanStone, ...] = ()
    failed: bool = False

    @property
    def ours_bytes(self) -> int:
        """What our members take here, those that restart here too."""
        return sum(one.stone.memory_bytes for one in self.stones if one.state in ("stands", "restarts"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanRack:
    """One rack; failed where all its hosts are. ``room`` is "" where none is stated; ``whole``: drawn host by host."""

    name: str
    room: str
    hosts: tuple[PlanHost, ...]
    whole: bool
    known: bool = True  # whether the estate has a rack of that name

    @property
    def failed(self) -> bool:
        """Whether every host in it is failed."""
        return all(host.failed for host in self.hosts)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFeed:
    """One power feed, and the racks in which a host hangs on it."""

    name: str
    racks: tuple[str, ...]
    failed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanSite:
    """One site; its racks stand room by room."""

    name: str
    racks: tuple[PlanRack, ...]
    feeds: tuple[PlanFeed, ...]
    failed: bool
    known: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanElevation:
    """All sites. ``is_large``: racks are drawn small and opened on demand."""

    sites: tuple[PlanSite, ...]
    is_large: bool


def plan_elevation(
    elevation: Elevation,
    above: Mapping[str, Above],
    *,
    judgement: Judgement | None = None,
    memory_bytes: Mapping[str, int] | None = None,
    opened: Sequence[str] = (),
) -> PlanElevation:
    """The plan of an elevation under a failure.

    Args: above: of each host the domains above it; judgement: of what failed, None while all stands; memory_bytes: of
        each machine by name, needed with a judgement; opened: racks to draw whole on a large estate.
    """
    hosts = sum(len(rack.hosts) for site in elevation.sites for rack in site.racks)
    failure = _Failure(elevation, judgement, memory_bytes or {})
    is_large = hosts > MANY_HOSTS
    kinds = {key for keys in above.values() for key in keys}
    return PlanElevation(
        sites=tuple(_site(site, above, kinds, failure, is_large, opened) for site in elevation.sites),
        is_large=is_large,
    )


class _Failure:
    """What a judgement means host by host."""

    def __init__(
        self, elevation: Elevation, judgement: Judgement | None, memory_bytes: Mapping[str, int]
    ) -> None:
        self.failed: frozenset[str] = frozenset(() if judgement is None else judgement.scenario.hosts)
        self.keys = frozenset(() if judgement is None else judgement.scenario.domains)
        self.state: dict[str, str] = {}
        self.restarting: dict[str, list[StoneElevation]] = {}
        self.coming_bytes: dict[str, int] = {}
        if judgement is None:
            return
        self.state |= dict.fromkeys(judgement.members_displaced, "displaced")
        self.state |= dict.fromkeys(judgement.members_lost, "lost")
        stones = {
            stone.member: stone
            for site in elevation.sites
            for rack in site.racks
            for host in rack.hosts
            for stone in host.members
        }
        for machine, host_name in judgement.seats:
            if machine in stones:
                self.restarting.setdefault(host_name, []).append(stones[machine])
            else:
                more = memory_bytes.get(machine, 0)
                self.coming_bytes[host_name] = self.coming_bytes.get(host_name, 0) + more

    def host(self, host: HostElevation) -> PlanHost:
        """The host under the failure."""
        standing = [
            PlanStone(stone=stone, state=self.state.get(stone.member, "stands")) for stone in host.members
        ]
        coming = [PlanStone(stone=stone, state="restarts") for stone in self.restarting.get(host.name, ())]
        return PlanHost(
            name=host.name,
            memory_bytes=host.memory_bytes,
            reserved_bytes=host.reserved_bytes,
            used_bytes=host.used_bytes,
            coming_bytes=self.coming_bytes.get(host.name, 0),
            stones=(*standing, *coming),
            failed=host.name in self.failed,
        )


def _site(
    site: SiteElevation,
    above: Mapping[str, Above],
    kinds: set[tuple[str, str]],
    failure: _Failure,
    is_large: bool,
    opened: Sequence[str],
) -> PlanSite:
    racks = [_rack(rack, above, kinds, failure, is_large, opened) for rack in site.racks]
    rooms = list(dict.fromkeys(rack.room for rack in racks))
    return PlanSite(
        name=site.name,
        racks=tuple(sorted(racks, key=lambda rack: rooms.index(rack.room))),
        feeds=tuple(
            PlanFeed(name=feed.name, racks=feed.racks, failed=("feed", feed.name) in failure.keys)
            for feed in site.feeds
        ),
        failed=("site", site.name) in failure.keys,
        known=("site", site.name) in kinds,
    )


def _rack(
    rack: RackElevation,
    above: Mapping[str, Above],
    kinds: set[tuple[str, str]],
    failure: _Failure,
    is_large: bool,
    opened: Sequence[str],
) -> PlanRack:
    hosts = tuple(map(failure.host, rack.hosts))
    return PlanRack(
        name=rack.name,
        room=next(_rooms(rack, above), _OTHER_ROOM),
        hosts=hosts,
        whole=not is_large or rack.name in opened or any(host.stones for host in hosts),
        known=("rack", rack.name) in kinds,
    )


def _rooms(rack: RackElevation, above: Mapping[str, Above]) -> Iterator[str]:
    for host in rack.hosts:
        yield from (name for kind, name in above.get(host.name, ()) if kind == "room")
