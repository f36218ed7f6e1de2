"""The estate as frozen values: sites, domains, hosts, pools, networks, guests. No reading in here (tables.py).

A failure domain is a name with a kind (site, room, rack, feed, switch, array, …) that may stand inside another
one. Hosts and pools name the domains they stand in directly; failures/domains.py closes that upwards.
All amounts are whole bytes.
"""

from dataclasses import dataclass
from datetime import date

__all__ = ["Domain", "Estate", "Guest", "Host", "Link", "Network", "Pool"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Domain:
    """What fails together, and what it stands inside (None at the top)."""

    name: str
    kind: str
    inside: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Host:
    """One virtualisation host. ``reserved_memory_bytes`` is what the host keeps for itself.

    ``guest_overhead_percent`` of each guest's memory is what the host needs for running it, beside that memory.
    """

    name: str
    domains: tuple[str, ...]
    cores: int
    memory_bytes: int
    reserved_memory_bytes: int
    vcpu_per_core: float
    cpu_level: str
    networks: tuple[str, ...]
    pools: tuple[str, ...]
    numa_nodes: int = 1
    platform: str = ""
    platform_version: str = ""
    guest_overhead_percent: float = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pool:
    """One storage pool. ``used_bytes`` is what is written, ``promised_bytes`` what is promised to thin disks too.

    ``domains`` may also name one host: its disks are then inside that host and fail with it.
    """

    name: str
    domains: tuple[str, ...]
    capacity_bytes: int
    used_bytes: int
    promised_bytes: int
    floor_percent: float
    promise_limit: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """One network. ``prefix`` is in CIDR form; ``taken`` are addresses or ranges ``a-b`` that are in use."""

    name: str
    prefix: str
    gateway: str = ""
    vlan: int | None = None
    mtu: int = 1500
    dns_servers: tuple[str, ...] = ()
    taken: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Guest:
    """A machine already on the estate. A smaller ``restart_order`` starts first.

    Guests of one ``apart_group`` share no host, those of one ``together_group`` stand on one. ``vcpu_per_core`` is the most
    vCPUs a core of its class, 0 for the host's own limit; ``networks`` are those it needs where it restarts, () if unknown.
    """

    name: str
    host: str
    memory_bytes: int
    vcpus: int
    pool: str
    disk_bytes: int
    restart_order: int = 100
    apart_group: str = ""
    together_group: str = ""
    vcpu_per_core: float = 0
    networks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """The way between two sites and its round trip, measured there and back, in microseconds."""

    name: str
    sites: tuple[str, ...]
    round_trip_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Estate:
    """All tables of one estate, with the day of their survey. ``links`` is empty where no round trip is known."""

    name: str
    surveyed: date
    surveyed_by: str
    domains: tuple[Domain, ...]
    hosts: tuple[Host, ...]
    pools: tuple[Pool, ...]
    networks: tuple[Network, ...]
    guests: tuple[Guest, ...]
    links: tuple[Link, ...] = ()
