"""The estate of the Ousemoor Drainage Commission: three sites, 14 hosts, 7 pools, 150 guests. All of it invented.

Made so that the first host offered is a bad choice: the first three hosts of the table share a rack, and the second
of them is nearly full; one host of the second rack does not reach the telemetry network. Three members of 4 vCPUs,
16 GiB and 176 GiB of disk stand well at Ousemoor with one in each rack. Nothing is overcommitted.

The same text comes out on every run: what looks drawn by chance is drawn by a fixed rule.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from random import Random
from typing import Final

from staddle.estate.model import Domain, Estate, Guest, Host, Link, Network, Pool
from staddle.estate.writing import write_estate

__all__ = ["demo_estate", "write_demo_estate"]

GIB: Final = 1024**3
GB: Final = 1000**3
TB: Final = 1000**4
FLOOR_PERCENT: Final = 15.0
FIXED_DRAW: Final = 1651  # any number would do; another one moves a few disks


@dataclass(frozen=True, slots=True, kw_only=True)
class _HostPlan:
    """A host as the demo lays it out. ``full`` is the share of its memory for guests that is to be used."""

    name: str
    domains: tuple[str, ...]
    cores: int
    memory_gib: int
    reserved_gib: int
    full: float
    networks: tuple[str, ...]
    pools: tuple[str, ...]
    cpu_level: str = "x86-64-v3"  # the psABI's levels (from memory)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Service:
    """What some guests of a site do. ``apart`` keeps its copies on different hosts."""

    stem: str
    copies: int
    memory_gib: int
    vcpus: int
    disk_gb: int
    restart_order: int
    apart: bool = False
    pool: str = ""


DOMAINS: Final = (
    Domain(name="Ousemoor", kind="site"),
    Domain(name="OM-feed-A", kind="feed", inside="Ousemoor"),
    Domain(name="OM-feed-B", kind="feed", inside="Ousemoor"),
    Domain(name="OM-R1", kind="rack", inside="Ousemoor"),
    Domain(name="OM-R2", kind="rack", inside="Ousemoor"),
    Domain(name="OM-R3", kind="rack", inside="Ousemoor"),
    Domain(name="OM-array-1", kind="array", inside="OM-R1"),
    Domain(name="OM-array-2", kind="array", inside="OM-R2"),
    Domain(name="OM-array-3", kind="array", inside="OM-R3"),
    Domain(name="Tollgate", kind="site"),
    Domain(name="TG-feed-A", kind="feed", inside="Tollgate"),
    Domain(name="TG-feed-B", kind="feed", inside="Tollgate"),
    Domain(name="TG-R1", kind="rack", inside="Tollgate"),
    Domain(name="TG-R2", kind="rack", inside="Tollgate"),
    Domain(name="TG-array-1", kind="array", inside="TG-R1"),
    Domain(name="TG-array-2", kind="array", inside="TG-R2"),
    Domain(name="Fennick's Lode", kind="site"),
    Domain(name="FL-feed-A", kind="feed", inside="Fennick's Lode"),
    Domain(name="FL-R1", kind="rack", inside="Fennick's Lode"),
    Domain(name="FL-array-1", kind="array", inside="FL-R1"),
)

LINKS: Final = (
    Link(name="om-tg-duct", sites=("Ousemoor", "Tollgate"), round_trip_us=1_800),
    Link(name="om-tg-radio", sites=("Ousemoor", "Tollgate"), round_trip_us=6_500),
    Link(name="om-fl-line", sites=("Ousemoor", "Fennick's Lode"), round_trip_us=14_000),
    Link(name="tg-fl-line", sites=("Tollgate", "Fennick's Lode"), round_trip_us=16_000),
)

_OM = ("om-management", "om-telemetry", "om-office")
_OM_POOLS = ("om-store-1", "om-store-2", "om-store-3")
_TG = ("tg-management", "tg-telemetry", "tg-office")
_FL = ("fl-management", "fl-telemetry", "fl-office")


def _ousemoor(number: int, rack: int, feeds: tuple[str, ...], full: float, **other: object) -> _HostPlan:
    kept: dict[str, object] = {
        "cores": 32,
        "memory_gib": 384,
        "reserved_gib": 24,
        "networks": _OM,
        "pools": _OM_POOLS,
    }
    return _HostPlan(
        name=f"om-h{number:02}",
        domains=(f"OM-R{rack}", *feeds),
        full=full,
        **(kept | other),  # type: ignore[arg-type]  # a table of mixed values
    )


HOSTS: Final = (
    _ousemoor(1, 1, ("OM-feed-A",), 0.70),
    _ousemoor(2, 1, ("OM-feed-A",), 0.97),
    _ousemoor(3, 1, ("OM-feed-A",), 0.62),
    _ousemoor(4, 2, ("OM-feed-B",), 0.72),
    _ousemoor(5, 2, ("OM-feed-B",), 0.64, networks=("om-management", "om-office")),
    _ousemoor(6, 2, ("OM-feed-B",), 0.74),
    # The third rack hangs on both feeds and loses neither hosts nor pool with one of them: it names none.
    _ousemoor(7, 3, (), 0.63, cores=48, memory_gib=512, cpu_level="x86-64-v4"),
    _ousemoor(
        8, 3, (), 0.69, cores=48, memory_gib=512, cpu_level="x86-64-v4", pools=(*_OM_POOLS, "om-local-08")
    ),
    *(
        _HostPlan(
            name=f"tg-h{number:02}",
            domains=(f"TG-R{rack}", f"TG-feed-{feed}"),
            cores=24,
            memory_gib=256,
            reserved_gib=16,
            full=full,
            networks=_TG,
            pools=("tg-store-1", "tg-store-2"),
        )
        for number, rack, feed, full in (
            (1, 1, "A", 0.73),
            (2, 1, "A", 0.66),
            (3, 2, "B", 0.61),
            (4, 2, "B", 0.70),
        )
    ),
    *(
        _HostPlan(
            name=f"fl-h{number:02}",
            domains=("FL-R1", "FL-feed-A"),
            cores=16,
            memory_gib=192,
            reserved_gib=12,
            full=full,
            networks=_FL,
            pools=("fl-store-1",),
        )
        for number, full in ((1, 0.66), (2, 0.62))
    ),
)

POOLS: Final = (
    ("om-store-1", ("OM-array-1",), 20),
    ("om-store-2", ("OM-array-2",), 20),
    ("om-store-3", ("OM-array-3",), 26),
    ("om-local-08", ("om-h08",), 2),  # disks inside one host: they fail with it
    ("tg-store-1", ("TG-array-1",), 12),
    ("tg-store-2", ("TG-array-2",), 12),
    ("fl-store-1", ("FL-array-1",), 10),
)

# Per site: what runs there. Restart order: storage and time, directory and names, services, front ends.
SERVICES: Final = {
    "om": (
        _Service(stem="time", copies=3, memory_gib=4, vcpus=1, disk_gb=40, restart_order=10, apart=True),
        _Service(stem="file-share", copies=4, memory_gib=48, vcpus=4, disk_gb=2400, restart_order=15),
        _Service(
            stem="directory", copies=3, memory_gib=16, vcpus=2, disk_gb=120, restart_order=20, apart=True
        ),
        _Service(stem="names", copies=2, memory_gib=8, vcpus=2, disk_gb=60, restart_order=20, apart=True),
        _Service(stem="pump-telemetry", copies=12, memory_gib=24, vcpus=4, disk_gb=500, restart_order=30),
        _Service(
            stem="sluice-control", copies=2, memory_gib=32, vcpus=4, disk_gb=300, restart_order=30, apart=True
        ),
        _Service(
            stem="alarm-desk", copies=2, memory_gib=16, vcpus=2, disk_gb=150, restart_order=35, apart=True
        ),
        _Service(stem="tide-forecast", copies=6, memory_gib=64, vcpus=8, disk_gb=900, restart_order=50),
        _Service(stem="catchment-model", copies=6, memory_gib=64, vcpus=8, disk_gb=1200, restart_order=60),
        _Service(stem="mapping", copies=8, memory_gib=32, vcpus=4, disk_gb=800, restart_order=60),
        _Service(stem="ledger", copies=3, memory_gib=24, vcpus=4, disk_gb=600, restart_order=70),
        _Service(
            stem="mail-relay", copies=2, memory_gib=8, vcpus=2, disk_gb=80, restart_order=70, apart=True
        ),
        _Service(stem="landowner-rolls", copies=4, memory_gib=16, vcpus=2, disk_gb=250, restart_order=80),
        _Service(stem="drawing-store", copies=3, memory_gib=16, vcpus=2, disk_gb=1500, restart_order=80),
        _Service(stem="intranet", copies=4, memory_gib=8, vcpus=2, disk_gb=120, restart_order=90),
        _Service(stem="desk", copies=24, memory_gib=12, vcpus=2, disk_gb=120, restart_order=150),
        _Service(
            stem="trial", copies=3, memory_gib=16, vcpus=2, disk_gb=200, restart_order=200, pool="om-local-08"
        ),
    ),
    "tg": (
        _Service(stem="time", copies=2, memory_gib=4, vcpus=1, disk_gb=40, restart_order=10, apart=True),
        _Service(stem="file-share", copies=2, memory_gib=32, vcpus=4, disk_gb=1800, restart_order=15),
        _Service(
            stem="directory", copies=2, memory_gib=16, vcpus=2, disk_gb=120, restart_order=20, apart=True
        ),
        _Service(stem="names", copies=2, memory_gib=8, vcpus=2, disk_gb=60, restart_order=20, apart=True),
        _Service(stem="pump-telemetry", copies=9, memory_gib=16, vcpus=4, disk_gb=400, restart_order=30),
        _Service(
            stem="lock-keeper", copies=2, memory_gib=24, vcpus=4, disk_gb=200, restart_order=30, apart=True
        ),
        _Service(stem="survey-images", copies=4, memory_gib=24, vcpus=4, disk_gb=1100, restart_order=60),
        _Service(stem="mail-relay", copies=1, memory_gib=8, vcpus=2, disk_gb=80, restart_order=70),
        _Service(stem="backup-catalogue", copies=2, memory_gib=24, vcpus=4, disk_gb=900, restart_order=80),
        _Service(stem="desk", copies=16, memory_gib=12, vcpus=2, disk_gb=120, restart_order=150),
    ),
    "fl": (
        _Service(stem="time", copies=1, memory_gib=4, vcpus=1, disk_gb=40, restart_order=10),
        _Service(stem="directory", copies=1, memory_gib=16, vcpus=2, disk_gb=120, restart_order=20),
        _Service(stem="pump-telemetry", copies=6, memory_gib=16, vcpus=2, disk_gb=400, restart_order=30),
        _Service(
            stem="weed-screen", copies=2, memory_gib=16, vcpus=2, disk_gb=150, restart_order=30, apart=True
        ),
        _Service(stem="camera-store", copies=2, memory_gib=24, vcpus=4, disk_gb=1600, restart_order=60),
        _Service(stem="desk", copies=5, memory_gib=8, vcpus=2, disk_gb=120, restart_order=150),
    ),
}


def write_demo_estate(folder: Path, *, surveyed: date) -> None:
    """Write the demo's tables into that folder, dated with that day."""
    write_estate(demo_estate(surveyed=surveyed), folder)


def demo_estate(*, surveyed: date) -> Estate:
    """The demo's estate as a value."""
    draw = Random(FIXED_DRAW)
    guests = tuple(guest for site in SERVICES for guest in _guests(site, draw))
    return Estate(
        name="Ousemoor Drainage Commission",
        surveyed=surveyed,
        surveyed_by="W. Marram, estate office",
        domains=DOMAINS,
        hosts=tuple(_host(plan) for plan in HOSTS),
        pools=tuple(_pool(name, domains, size_tb, guests) for name, domains, size_tb in POOLS),
        networks=tuple(_networks()),
        guests=guests,
        links=LINKS,
    )


def _host(plan: _HostPlan) -> Host:
    return Host(
        name=plan.name,
        domains=plan.domains,
        cores=plan.cores,
        memory_bytes=plan.memory_gib * GIB,
        reserved_memory_bytes=plan.reserved_gib * GIB,
        vcpu_per_core=2.0,
        cpu_level=plan.cpu_level,
        networks=plan.networks,
        pools=plan.pools,
        numa_nodes=2,
        platform="kvm",
        platform_version="8.2",
    )


def _pool(name: str, domains: tuple[str, ...], size_tb: int, guests: Sequence[Guest]) -> Pool:
    promised_bytes = (
        sum(guest.disk_bytes for guest in guests if guest.pool == name) + 200 * GB
    )  # and templates
    return Pool(
        name=name,
        domains=domains,
        capacity_bytes=size_tb * TB,
        used_bytes=promised_bytes * 86 // 100 // GB * GB,  # some of the disks are thin
        promised_bytes=promised_bytes,
        floor_percent=FLOOR_PERCENT,
        promise_limit=1.0,
    )


def _networks() -> Iterator[Network]:
    # RFC 5737 §3: the three blocks for documentation, each split over the sites.
    blocks = (("management", "192.0.2", 10), ("telemetry", "198.51.100", 20), ("office", "203.0.113", 30))
    sites = (("om", 0, 25, 60), ("tg", 128, 26, 30), ("fl", 192, 26, 16))
    for order, (site, start, length, taken) in enumerate(sites):
        for role, block, vlan in blocks:
            yield Network(
                name=f"{site}-{role}",
                prefix=f"{block}.{start}/{length}",
                gateway=f"{block}.{start + 1}",
                vlan=100 * (order + 1) + vlan,
                mtu=1500,
                dns_servers=(f"192.0.2.{start + 2}", f"192.0.2.{start + 3}"),
                taken=(f"{block}.{start + 1}-{block}.{start + taken}",),
            )


def _guests(site: str, draw: Random) -> Iterator[Guest]:
    """The guests of one site, each on the host that is furthest below its share, largest first."""
    plans = [plan for plan in HOSTS if plan.name.startswith(site)]
    pools = [name for name, _, _ in POOLS if name.startswith(site) and name != "om-local-08"]
    services = SERVICES[site]
    taken_gib: defaultdict[str, int] = defaultdict(int)
    written_gb: defaultdict[str, int] = defaultdict(int)
    holders: defaultdict[str, set[str]] = defaultdict(set)
    guests: dict[str, Guest] = {}
    for service in sorted(services, key=lambda s: (not s.pool, not s.apart, -s.memory_gib)):
        for copy in range(1, service.copies + 1):
            fitting = [plan for plan in plans if not service.pool or service.pool in plan.pools]
            apart = [plan for plan in fitting if plan.name not in holders[service.stem] or not service.apart]
            host = max(apart, key=lambda plan: _below(plan, taken_gib[plan.name]))
            pool = service.pool or min(pools, key=lambda name: written_gb[name] / _size_tb(name))
            disk_gb = round(service.disk_gb * (0.85 + 0.3 * draw.random()) / 10) * 10
            taken_gib[host.name] += service.memory_gib
            written_gb[pool] += disk_gb
            holders[service.stem].add(host.name)
            name = f"{site}-{service.stem}-{copy:02}"
            guests[name] = Guest(
                name=name,
                host=host.name,
                memory_bytes=service.memory_gib * GIB,
                vcpus=service.vcpus,
                pool=pool,
                disk_bytes=disk_gb * GB,
                restart_order=service.restart_order,
                apart_group=f"{site}-{service.stem}" if service.apart else "",
            )
    # In the table they stand by what they do, as a person would list them.
    for service in services:
        for copy in range(1, service.copies + 1):
            yield guests[f"{site}-{service.stem}-{copy:02}"]


def _below(plan: _HostPlan, taken_gib: int) -> int:
    return math.floor(plan.full * (plan.memory_gib - plan.reserved_gib)) - taken_gib


def _size_tb(pool: str) -> int:
    return next(size_tb for name, _, size_tb in POOLS if name == pool)
