"""Findings about an estate that was read without a fault: what is sound as a table but strained as an estate.

Nothing here refuses anything. Rules about a design and its members are in review/.
"""

import ipaddress
from collections import defaultdict
from collections.abc import Iterator

from staddle.estate.model import Estate
from staddle.estate.room import floor_bytes, memory_with_overhead, promise_bytes, vcpus_offered, vcpus_weighed
from staddle.kernel import Finding, Severity, format_binary, format_decimal

__all__ = ["strain_findings"]

_PRACTICE = "common practice, no source"


def strain_findings(estate: Estate) -> tuple[Finding, ...]:
    """Hosts and pools beyond their limits, guests out of reach of their pool, networks that overlap."""
    return (*_hosts(estate), *_pools(estate), *_reach(estate), *_networks(estate))


def _hosts(estate: Estate) -> Iterator[Finding]:
    memory_bytes: defaultdict[str, int] = defaultdict(int)
    vcpus: defaultdict[str, int] = defaultdict(int)
    hosts = {host.name: host for host in estate.hosts}
    for guest in estate.guests:
        host = hosts[guest.host]
        memory_bytes[guest.host] += memory_with_overhead(guest.memory_bytes, host.guest_overhead_percent)
        vcpus[guest.host] += vcpus_weighed(guest.vcpus, guest.vcpu_per_core, host.vcpu_per_core)
    for host in estate.hosts:
        has_bytes = host.memory_bytes - host.reserved_memory_bytes
        if memory_bytes[host.name] > has_bytes:
            yield Finding(
                rule="guests-exceed-memory",
                severity=Severity.RISK,
                what=f'the guests of host "{host.name}" have {format_binary(memory_bytes[host.name])}, '
                f"it offers {format_binary(has_bytes)}",
                where=host.name,
                why="memory is overcommitted: the host may swap, and takes no member",
                mend="move guests away, or mend the table",
                source=_PRACTICE,
            )
        if vcpus[host.name] > vcpus_offered(host):
            yield Finding(
                rule="guests-exceed-vcpus",
                severity=Severity.RISK,
                what=f'the guests of host "{host.name}" have {vcpus[host.name]} vCPUs, its limit is '
                f"{vcpus_offered(host)} ({host.cores} cores × {host.vcpu_per_core:g})",
                where=host.name,
                why="run queues grow, and the host takes no member",
                mend="move guests away, or settle another limit",
                source=_PRACTICE,
            )


def _pools(estate: Estate) -> Iterator[Finding]:
    disks_bytes: defaultdict[str, int] = defaultdict(int)
    for guest in estate.guests:
        disks_bytes[guest.pool] += guest.disk_bytes
    for pool in estate.pools:
        free_bytes = pool.capacity_bytes - pool.used_bytes
        if free_bytes < floor_bytes(pool):
            yield Finding(
                rule="pool-below-floor",
                severity=Severity.RISK,
                what=f'pool "{pool.name}" has {format_decimal(free_bytes)} free, its floor is '
                f"{format_decimal(floor_bytes(pool))} ({pool.floor_percent:g} %)",
                where=pool.name,
                why="a full pool stops every guest on it",
                mend="free or add storage",
                source=_PRACTICE,
            )
        if pool.promised_bytes > promise_bytes(pool):
            yield Finding(
                rule="pool-beyond-promise",
                severity=Severity.RISK,
                what=f'pool "{pool.name}" has promised {format_decimal(pool.promised_bytes)}, its limit is '
                f"{format_decimal(promise_bytes(pool))}",
                where=pool.name,
                why="when the thin disks fill, the pool is full and stops every guest on it",
                mend="add storage, or settle another limit with an owner and an alarm",
                source=_PRACTICE,
            )
        if disks_bytes[pool.name] > pool.promised_bytes:
            yield Finding(
                rule="disks-exceed-promise",
                severity=Severity.NOTE,
                what=f'the disks of the guests on pool "{pool.name}" come to '
                f"{format_decimal(disks_bytes[pool.name])}, more than its promise of "
                f"{format_decimal(pool.promised_bytes)}",
                where=pool.name,
                why="the two tables were not taken at the same time, or one is wrong",
                mend="survey both again",
            )


def _reach(estate: Estate) -> Iterator[Finding]:
    reached = {host.name: frozenset(host.pools) for host in estate.hosts}
    for guest in estate.guests:
        if guest.pool not in reached[guest.host]:
            yield Finding(
                rule="guest-out-of-reach",
                severity=Severity.NOTE,
                what=f'guest "{guest.name}" runs on "{guest.host}", which does not reach its pool "{guest.pool}"',
                where=guest.name,
                why="it could not run there, so one of the tables is wrong",
                mend="mend the host's pools or the guest's row",
            )


def _networks(estate: Estate) -> Iterator[Finding]:
    spans = sorted(
        (parsed.version, int(parsed.network_address), int(parsed.broadcast_address), network.name)
        for network in estate.networks
        for parsed in (ipaddress.ip_network(network.prefix),)
    )
    widest: tuple[int, int, str] | None = (
        None  # version, last address, name of the span that reaches furthest
    )
    for version, first, last, name in spans:
        if widest is not None and widest[0] == version and first <= widest[1]:
            yield Finding(
                rule="networks-overlap",
                severity=Severity.NOTE,
                what=f'the networks "{widest[2]}" and "{name}" share addresses',
                where=name,
                why="an address that is free in one may be taken in the other",
                mend="mend a prefix, or list the addresses as taken in both",
            )
        if widest is None or widest[0] != version or last > widest[1]:
            widest = (version, last, name)
