"""The columns of the tables: heading, field, what a cell holds, its reader and its writer. No files in here.

This is the only list of headings: the reader (tables.py), the writer (writing.py) and a test of
docs/estate-tables.md all use it.
"""

import ipaddress
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from staddle.estate import cells
from staddle.estate.model import Domain, Guest, Host, Link, Network, Pool
from staddle.kernel import Fault

__all__ = [
    "DOMAINS",
    "GUESTS",
    "HOSTS",
    "LINKS",
    "NETWORKS",
    "NO_DEFAULT",
    "POOLS",
    "TABLES",
    "Column",
    "Table",
]

NO_DEFAULT: Final = object()


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column. ``blank`` is the value of a blank cell, NO_DEFAULT where a blank cell is wrong.

    Args: needed: whether the heading must be there at all.
    """

    heading: str
    field: str
    read: Callable[[str], Any]
    write: Callable[[Any], str] = str
    blank: Any = NO_DEFAULT
    needed: bool = True


Complaint = tuple[str, Fault]  # heading, what is wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One file of the estate. ``check`` tells what is wrong between the cells of one row.

    Args: needed: whether the file must be there at all; one that need not has no rows where it is missing.
    """

    file: str
    noun: str
    kind: type
    columns: tuple[Column, ...]
    check: Callable[[Any], Iterator[Complaint]]
    needed: bool = True


def _nothing(_: object) -> Iterator[Complaint]:
    yield from ()


def _check_host(host: Host) -> Iterator[Complaint]:
    if host.reserved_memory_bytes >= host.memory_bytes:
        yield (
            "reserved_memory",
            Fault(
                what=f"{cells.exact_binary(host.reserved_memory_bytes)} of "
                f"{cells.exact_binary(host.memory_bytes)} are kept for the host",
                why="nothing would be left for guests",
                mend="write what the host keeps for itself, commonly 5 to 10 %",
            ),
        )
    if host.numa_nodes > host.cores:
        yield (
            "numa_nodes",
            Fault(
                what=f"{host.numa_nodes} NUMA nodes share {host.cores} cores",
                why="a node has at least one core",
                mend="count nodes, not threads",
            ),
        )


def _check_pool(pool: Pool) -> Iterator[Complaint]:
    if pool.used_bytes > pool.capacity_bytes:
        yield (
            "used",
            Fault(
                what=f"{cells.exact_decimal(pool.used_bytes)} are written in a capacity of "
                f"{cells.exact_decimal(pool.capacity_bytes)}",
                mend="look whether the units of both cells are right",
            ),
        )


def _check_network(network: Network) -> Iterator[Complaint]:
    inside = ipaddress.ip_network(network.prefix)
    named = [("gateway", network.gateway)] if network.gateway else []
    named += [("taken", end) for entry in network.taken for end in entry.split("-")]
    for heading, address in named:
        if ipaddress.ip_address(address) not in inside:
            yield (
                heading,
                Fault(what=f"{address} is not in {network.prefix}", mend="mend the address or the prefix"),
            )
    if inside.version == 6 and network.mtu < 1280:
        yield (
            "mtu",
            Fault(what=f"an MTU of {network.mtu} cannot carry IPv6", why="RFC 8200 §5 asks for 1280 or more"),
        )


def _check_link(link: Link) -> Iterator[Complaint]:
    if len(link.sites) != 2:
        yield (
            "sites",
            Fault(
                what=f"{len(link.sites)} {'site is' if len(link.sites) == 1 else 'sites are'} named",
                why="a link leads from one site to one other",
                mend='write for example "Ousemoor; Tollgate"',
            ),
        )


_MEMORY: Final = cells.amount("1 MiB", "256 TiB")
_DISK: Final = cells.amount("0 B", "100 PB")

DOMAINS: Final = Table(
    file="domains.csv",
    noun="domain",
    kind=Domain,
    check=_nothing,
    columns=(
        Column(heading="name", field="name", read=cells.name),
        Column(heading="kind", field="kind", read=cells.name),
        Column(
            heading="inside",
            field="inside",
            read=cells.name,
            write=lambda inside: inside or "",
            blank=None,
            needed=False,
        ),
    ),
)

HOSTS: Final = Table(
    file="hosts.csv",
    noun="host",
    kind=Host,
    check=_check_host,
    columns=(
        Column(heading="name", field="name", read=cells.name),
        Column(heading="domains", field="domains", read=cells.names, write=cells.joined),
        Column(heading="cores", field="cores", read=cells.whole(1, 4096)),
        Column(heading="memory", field="memory_bytes", read=_MEMORY, write=cells.exact_binary),
        Column(
            heading="reserved_memory",
            field="reserved_memory_bytes",
            read=cells.amount("0 B", "256 TiB"),
            write=cells.exact_binary,
        ),
        Column(
            heading="vcpu_per_core",
            field="vcpu_per_core",
            read=cells.ratio("0.1", "64"),
            write=cells.decimal_text,
        ),
        Column(heading="cpu_level", field="cpu_level", read=cells.text, blank="", needed=False),
        Column(heading="networks", field="networks", read=cells.names, write=cells.joined, blank=()),
        Column(heading="pools", field="pools", read=cells.names, write=cells.joined, blank=()),
        Column(heading="numa_nodes", field="numa_nodes", read=cells.whole(1, 256), blank=1, needed=False),
        Column(heading="platform", field="platform", read=cells.text, blank="", needed=False),
        Column(heading="platform_version", field="platform_version", read=cells.text, blank="", needed=False),
        Column(
            heading="guest_overhead",
            field="guest_overhead_percent",
            read=cells.percent("0", "50"),
            write=cells.percent_text,
            blank=0.0,
            needed=False,
        ),
    ),
)

POOLS: Final = Table(
    file="pools.csv",
    noun="pool",
    kind=Pool,
    check=_check_pool,
    columns=(
        Column(heading="name", field="name", read=cells.name),
        Column(heading="domains", field="domains", read=cells.names, write=cells.joined, blank=()),
        Column(
            heading="capacity",
            field="capacity_bytes",
            read=cells.amount("1 MB", "1000 PB"),
            write=cells.exact_decimal,
        ),
        Column(
            heading="used",
            field="used_bytes",
            read=cells.amount("0 B", "1000 PB"),
            write=cells.exact_decimal,
        ),
        Column(
            heading="promised",
            field="promised_bytes",
            read=cells.amount("0 B", "10000 PB"),
            write=cells.exact_decimal,
        ),
        Column(
            heading="floor", field="floor_percent", read=cells.percent("0", "90"), write=cells.percent_text
        ),
        Column(
            heading="promise_limit",
            field="promise_limit",
            read=cells.ratio("0.1", "10"),
            write=cells.decimal_text,
            blank=1.0,
            needed=False,
        ),
    ),
)

NETWORKS: Final = Table(
    file="networks.csv",
    noun="network",
    kind=Network,
    check=_check_network,
    columns=(
        Column(heading="name", field="name", read=cells.name),
        Column(heading="prefix", field="prefix", read=cells.prefix),
        Column(heading="gateway", field="gateway", read=cells.address, blank="", needed=False),
        Column(
            heading="vlan",
            field="vlan",
            read=cells.whole(1, 4094),  # IEEE 802.1Q: 0 and 4095 are not VLANs (from memory)
            write=lambda vlan: "" if vlan is None else str(vlan),
            blank=None,
            needed=False,
        ),
        Column(
            heading="mtu",
            field="mtu",
            read=cells.whole(68, 65535),  # RFC 791 §3.2: 68 octets pass everywhere
            blank=1500,
            needed=False,
        ),
        Column(
            heading="dns_servers",
            field="dns_servers",
            read=cells.addresses,
            write=cells.joined,
            blank=(),
            needed=False,
        ),
        Column(heading="taken", field="taken", read=cells.ranges, write=cells.joined, blank=(), needed=False),
    ),
)

GUESTS: Final = Table(
    file="guests.csv",
    noun="guest",
    kind=Guest,
    check=_nothing,
    columns=(
        Column(heading="name", field="name", read=cells.name),
        Column(heading="host", field="host", read=cells.name),
        Column(heading="memory", field="memory_bytes", read=_MEMORY, write=cells.exact_binary),
        Column(heading="vcpus", field="vcpus", read=cells.whole(1, 4096)),
        Column(heading="pool", field="pool", read=cells.name),
        Column(heading="disk", field="disk_bytes", read=_DISK, write=cells.exact_decimal),
        Column(
            heading="restart_order",
            field="restart_order",
            read=cells.whole(0, 1_000_000),
            blank=100,
            needed=False,
        ),
        Column(heading="apart_group", field="apart_group", read=cells.name, blank="", needed=False),
        Column(heading="together_group", field="together_group", read=cells.name, blank="", needed=False),
        Column(
            heading="vcpu_per_core",
            field="vcpu_per_core",
            read=cells.ratio("0.1", "64"),
            write=lambda ratio: cells.decimal_text(ratio) if ratio else "",
            blank=0.0,
            needed=False,
        ),
        Column(
            heading="networks",
            field="networks",
            read=cells.names,
            write=cells.joined,
            blank=(),
            needed=False,
        ),
    ),
)

LINKS: Final = Table(
    file="links.csv",
    noun="link",
    kind=Link,
    check=_check_link,
    needed=False,
    columns=(
        Column(heading="name", field="name", read=cells.name),
        Column(heading="sites", field="sites", read=cells.names, write=cells.joined),
        Column(
            heading="round_trip",
            field="round_trip_us",
            read=cells.span("0.001 ms", "10 s"),
            write=cells.exact_span,
        ),
    ),
)

TABLES: Final = (DOMAINS, HOSTS, POOLS, NETWORKS, GUESTS)
"""Those that every estate has. Links between sites are beside them: most estates have one site."""
