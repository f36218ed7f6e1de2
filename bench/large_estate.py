"""A large estate, made by rule: hosts in racks, racks in reaches of pools, guests up to a given fill.

Everything that matters for how hard a question is can be set and is printed with the figures: hosts, racks, reaches,
pools a reach, guests a host, and how much of the memory for guests is in use.
"""

from dataclasses import dataclass
from datetime import date
from random import Random

from staddle.estate.model import Domain, Estate, Guest, Host, Network, Pool

__all__ = ["LargeEstate", "large_estate"]

GIB = 1024**3
TB = 1000**4
_SIZES_GIB = (4, 4, 8, 8, 8, 16, 16, 24, 32, 64)


@dataclass(frozen=True, slots=True, kw_only=True)
class LargeEstate:
    """What to make. ``full`` is the share of the memory for guests that is in use."""

    hosts: int = 2000
    guests: int = 50_000
    hosts_a_rack: int = 10
    racks_a_reach: int = 10
    pools_a_reach: int = 4
    memory_gib: int = 512
    reserved_gib: int = 32
    cores: int = 64
    full: float = 0.85
    draw: int = 2611

    def told(self) -> str:
        """In words, for the figures."""
        reaches = self.hosts // (self.hosts_a_rack * self.racks_a_reach)
        return (
            f"{self.hosts} hosts in {self.hosts // self.hosts_a_rack} racks, {self.guests} guests, memory "
            f"{100 * self.full:g} % full, {reaches} pool reaches of {self.pools_a_reach} pools"
        )


def large_estate(wanted: LargeEstate) -> Estate:
    """The estate; the same on every run."""
    chance = Random(wanted.draw)
    racks = wanted.hosts // wanted.hosts_a_rack
    hosts = []
    for h in range(wanted.hosts):
        rack = h // wanted.hosts_a_rack
        reach = rack // wanted.racks_a_reach
        hosts.append(
            Host(
                name=f"h{h:04}",
                domains=(f"r{rack:03}",),
                cores=wanted.cores,
                memory_bytes=wanted.memory_gib * GIB,
                reserved_memory_bytes=wanted.reserved_gib * GIB,
                vcpu_per_core=4.0,
                cpu_level="x86-64-v3",
                networks=("management", "data"),
                pools=tuple(f"p{reach:02}-{n}" for n in range(wanted.pools_a_reach)),
                numa_nodes=2,
            )
        )
    guests = list(_guests(wanted, hosts, chance))
    promised: dict[str, int] = {}
    for guest in guests:
        promised[guest.pool] = promised.get(guest.pool, 0) + guest.disk_bytes
    names = sorted({pool for host in hosts for pool in host.pools})
    return Estate(
        name="large",
        surveyed=date(2026, 11, 20),
        surveyed_by="made by rule",
        domains=(
            Domain(name="site", kind="site"),
            *(Domain(name=f"r{n:03}", kind="rack", inside="site") for n in range(racks)),
        ),
        hosts=tuple(hosts),
        pools=tuple(
            Pool(
                name=name,
                domains=("site",),
                capacity_bytes=int(promised.get(name, 0) / 0.6) + 20 * TB,
                used_bytes=promised.get(name, 0),
                promised_bytes=promised.get(name, 0),
                floor_percent=15,
            )
            for name in names
        ),
        networks=(
            Network(name="management", prefix="192.0.2.0/24"),
            Network(name="data", prefix="198.51.100.0/24"),
        ),
        guests=tuple(guests),
    )


def _guests(wanted: LargeEstate, hosts: list[Host], chance: Random) -> list[Guest]:
    """Guests drawn until a host is as full as it shall be, give or take; as many in all as are wanted."""
    made: list[Guest] = []
    for position, host in enumerate(hosts):
        count = wanted.guests * (position + 1) // wanted.hosts - len(made)
        room = int((wanted.memory_gib - wanted.reserved_gib) * (wanted.full + chance.uniform(-0.06, 0.06)))
        drawn = [chance.choice(_SIZES_GIB) for _ in range(count)]
        scale = room / max(1, sum(drawn))
        for n, size in enumerate(drawn):
            made.append(
                Guest(
                    name=f"g{position:04}-{n:02}",
                    host=host.name,
                    memory_bytes=max(1, int(size * scale)) * GIB,
                    vcpus=max(1, size // 8),
                    pool=chance.choice(host.pools),
                    disk_bytes=chance.choice((40, 80, 200)) * 1000**3,
                    restart_order=chance.choice((10, 50, 100)),
                )
            )
    return made
