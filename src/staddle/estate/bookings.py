"""Room promised to jobs: the values, the rule that nothing is promised twice, and the port of the register.

What a host or pool has left is what it offers, less what runs there by the survey, less what stands promised.
No storing in here (stores/bookings_sqlite.py).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Protocol, TypeVar

from staddle.estate.model import Estate, Host, Pool
from staddle.estate.room import (
    floor_bytes,
    memory_with_overhead,
    promise_bytes,
    vcpus_offered,
    vcpus_weighed,
)
from staddle.kernel import Fault, InputRefused, format_binary, format_decimal

__all__ = [
    "Booking",
    "Bookings",
    "HostLeft",
    "PoolLeft",
    "RoomLeft",
    "faults_of",
    "room_left",
    "same_room",
    "standing",
    "until_faults",
]

Row = TypeVar("Row", Host, Pool)


@dataclass(frozen=True, slots=True, kw_only=True)
class Booking:
    """Room on one host and in one pool, promised to a job until an instant.

    A member with disks in two pools has two bookings, the second one without memory and vCPUs. ``pool`` is ""
    where no disk is booked. ``written_bytes`` is what of a thin disk will be written, None for all of it.
    Two instants, aware; memory in bytes; at least one amount is above 0.
    """

    booking_id: str
    job: str
    rollout: str
    host: str
    pool: str
    memory_bytes: int
    vcpus: int
    disk_bytes: int
    made_by: str
    made_at: datetime
    until: datetime
    written_bytes: int | None = None

    def __post_init__(self) -> None:
        label = f'booking "{self.booking_id}"'
        amounts = (self.memory_bytes, self.vcpus, self.disk_bytes)
        rules = (
            (bool(self.booking_id and self.job and self.host), "needs an id, a job and a host"),
            (min(amounts) >= 0 and max(amounts) > 0, f"asks for {amounts}: none below 0, at least one above"),
            (self.disk_bytes == 0 or bool(self.pool), "asks for disk and names no pool"),
            (
                self.written_bytes is None or 0 <= self.written_bytes <= self.disk_bytes,
                f"will write {self.written_bytes} B of {self.disk_bytes} B",
            ),
            (
                self.made_at.utcoffset() == timedelta(0) == self.until.utcoffset(),
                "has an instant that is not in UTC",
            ),
        )
        faults = [Fault(what=f"{label} {text}") for holds, text in rules if not holds]
        if faults:
            raise InputRefused(*faults)

    @property
    def fills_bytes(self) -> int:
        """What it will take from the pool's free space."""
        return self.disk_bytes if self.written_bytes is None else self.written_bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class HostLeft:
    """What one host has left; below 0 where more is taken than it offers."""

    memory_bytes: int
    vcpus: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolLeft:
    """What one pool has left above its floor (``free_bytes``) and under its promise limit (``promise_bytes``)."""

    free_bytes: int
    promise_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomLeft:
    """What all hosts and pools have left, by name in the order of the tables."""

    hosts: Mapping[str, HostLeft]
    pools: Mapping[str, PoolLeft]


class Bookings(Protocol):
    """The register of bookings of one estate."""

    def book(self, bookings: Sequence[Booking], *, now: datetime) -> None:
        """Promise all of them or none. A repeat of a standing booking takes no more room and may prolong it.

        Raises: InputRefused: they do not fit, or an id stands for another room; every fault at once.
            NotAllowed: the register is held by another process; nothing was booked.
            OutsideFailed: the register cannot be read or written; nothing was booked.
            OutcomeUnknown: it failed while making the promise; look with all_bookings().
        """
        ...

    def release(self, booking_ids: Sequence[str]) -> None:
        """Give the room of these back, all or none. An id that is not in the register is no error.

        Raises: as book, but never InputRefused.
        """
        ...

    def all_bookings(self) -> tuple[Booking, ...]:
        """Every booking in the register by its id, those past their end too (see ``standing``). May be empty."""
        ...


def standing(bookings: Iterable[Booking], now: datetime) -> tuple[Booking, ...]:
    """Those that still hold room at that instant: their ``until`` is later."""
    return tuple(booking for booking in bookings if booking.until > now)


def same_room(one: Booking, other: Booking) -> bool:
    """Whether both promise the same room to the same rollout, whenever and by whomever they were made."""
    return one == replace(other, made_by=one.made_by, made_at=one.made_at, until=one.until)


def until_faults(new: Sequence[Booking], now: datetime) -> tuple[Fault, ...]:
    """One fault for each booking that would have ended before it stood."""
    return tuple(
        Fault(
            what=f'booking "{booking.booking_id}" ends at {booking.until.isoformat()}, which is not after '
            f"{now.isoformat()}",
            mend="book until the end of the change window",
        )
        for booking in new
        if booking.until <= now
    )


def room_left(estate: Estate, bookings: Iterable[Booking]) -> RoomLeft:
    """What is left after the guests of the survey and these bookings. Each of them counts: filter with ``standing``.

    Memory: less what the host keeps for itself and what it needs for each guest besides. vCPUs: cores × vcpu_per_core;
    a guest whose class allows fewer vCPUs a core takes more of them. Pools: capacity less what is written
    and less the floor; and capacity × promise_limit less what is promised. A guest's disk is in both of the pool's
    figures already. Bookings that name an unknown host or pool take nothing.
    """
    booked = tuple(bookings)
    memory_bytes: defaultdict[str, int] = defaultdict(int)
    vcpus: defaultdict[str, int] = defaultdict(int)
    promised_bytes: defaultdict[str, int] = defaultdict(int)
    filled_bytes: defaultdict[str, int] = defaultdict(int)
    hosts = {host.name: host for host in estate.hosts}
    for guest in estate.guests:
        if guest.host in hosts:
            host = hosts[guest.host]
            memory_bytes[guest.host] += memory_with_overhead(guest.memory_bytes, host.guest_overhead_percent)
            vcpus[guest.host] += vcpus_weighed(guest.vcpus, guest.vcpu_per_core, host.vcpu_per_core)
    for booking in booked:
        memory_bytes[booking.host] += booking.memory_bytes
        vcpus[booking.host] += booking.vcpus
        promised_bytes[booking.pool] += booking.disk_bytes
        filled_bytes[booking.pool] += booking.fills_bytes
    return RoomLeft(
        hosts={
            host.name: HostLeft(
                memory_bytes=host.memory_bytes - host.reserved_memory_bytes - memory_bytes[host.name],
                vcpus=vcpus_offered(host) - vcpus[host.name],
            )
            for host in estate.hosts
        },
        pools={
            pool.name: PoolLeft(
                free_bytes=pool.capacity_bytes
                - floor_bytes(pool)
                - pool.used_bytes
                - filled_bytes[pool.name],
                promise_bytes=promise_bytes(pool) - pool.promised_bytes - promised_bytes[pool.name],
            )
            for pool in estate.pools
        },
    )


def faults_of(new: Sequence[Booking], existing: Sequence[Booking], estate: Estate) -> tuple[Fault, ...]:
    """Everything that forbids promising ``new`` beside ``existing``; () where all of it fits.

    What stands already under the same id and for the same room is not counted again. Only hosts and pools that the
    new ones name are looked at: an estate that is overfull elsewhere does not forbid them.

    Args: existing: the standing bookings of this estate, each id once.
    """
    faults: list[Fault] = []
    by_id = {booking.booking_id: booking for booking in existing}
    added: list[Booking] = []
    for booking in new:
        known = by_id.get(booking.booking_id)
        if known is None:
            added.append(booking)
            by_id[booking.booking_id] = booking
        elif not same_room(known, booking):
            faults.append(
                Fault(
                    what=f'booking "{booking.booking_id}" stands for other room',
                    why=f'it promises host "{known.host}" and pool "{known.pool}" to job "{known.job}"',
                    mend="release that booking first",
                )
            )
    faults += _strangers(added, estate)
    left = room_left(estate, (*existing, *added))
    for host in _named(estate.hosts, {booking.host for booking in added}):
        faults += _host_faults(host, left.hosts[host.name], added, existing)
    for pool in _named(estate.pools, {booking.pool for booking in added}):
        faults += _pool_faults(pool, left.pools[pool.name], added, existing)
    return tuple(faults)


def _named(rows: Sequence[Row], names: set[str]) -> Iterator[Row]:
    return (row for row in rows if row.name in names)


def _strangers(added: Sequence[Booking], estate: Estate) -> Iterator[Fault]:
    reached = {host.name: host.pools for host in estate.hosts}
    for booking in added:
        label = f'booking "{booking.booking_id}"'
        if booking.host not in reached:
            yield Fault(what=f'{label} names host "{booking.host}", which is not on the estate')
        elif booking.pool and booking.pool not in reached[booking.host]:
            yield Fault(
                what=f'{label} names pool "{booking.pool}", which host "{booking.host}" does not reach',
                why="it reaches " + (", ".join(reached[booking.host]) or "none"),
            )


def _host_faults(
    host: Host, left: HostLeft, added: Sequence[Booking], existing: Sequence[Booking]
) -> Iterator[Fault]:
    mine = [booking for booking in added if booking.host == host.name]
    others = [booking for booking in existing if booking.host == host.name]
    asked_bytes, asked_vcpus = sum(b.memory_bytes for b in mine), sum(b.vcpus for b in mine)
    if asked_bytes and left.memory_bytes < 0:
        has_bytes = left.memory_bytes + asked_bytes
        yield Fault(
            what=f'host "{host.name}" has {format_binary(max(has_bytes, 0))} of memory left, '
            f"{format_binary(asked_bytes)} are asked for",
            why=f"of {format_binary(host.memory_bytes)} it keeps {format_binary(host.reserved_memory_bytes)}; "
            + _promised(others, format_binary(sum(b.memory_bytes for b in others))),
            mend="take another host, or have a booking released",
        )
    if asked_vcpus and left.vcpus < 0:
        yield Fault(
            what=f'host "{host.name}" has {max(left.vcpus + asked_vcpus, 0)} vCPUs left, '
            f"{asked_vcpus} are asked for",
            why=f"its limit is {vcpus_offered(host)}; "
            + _promised(others, f"{sum(b.vcpus for b in others)} vCPUs"),
            mend="take another host, or have a booking released",
        )


def _pool_faults(
    pool: Pool, left: PoolLeft, added: Sequence[Booking], existing: Sequence[Booking]
) -> Iterator[Fault]:
    mine = [booking for booking in added if booking.pool == pool.name]
    others = [booking for booking in existing if booking.pool == pool.name]
    fills_bytes, asked_bytes = sum(b.fills_bytes for b in mine), sum(b.disk_bytes for b in mine)
    if fills_bytes and left.free_bytes < 0:
        yield Fault(
            what=f'pool "{pool.name}" has {format_decimal(max(left.free_bytes + fills_bytes, 0))} left above '
            f"its floor, {format_decimal(fills_bytes)} would be written",
            why=f"{format_decimal(pool.used_bytes)} of {format_decimal(pool.capacity_bytes)} are written, "
            f"{format_decimal(floor_bytes(pool))} must stay free; "
            + _promised(others, format_decimal(sum(b.fills_bytes for b in others))),
            mend="take another pool, or have a booking released",
        )
    if asked_bytes and left.promise_bytes < 0:
        yield Fault(
            what=f'pool "{pool.name}" may promise {format_decimal(max(left.promise_bytes + asked_bytes, 0))} '
            f"more, {format_decimal(asked_bytes)} are asked for",
            why=f"its limit is {format_decimal(promise_bytes(pool))}, "
            f"{format_decimal(pool.promised_bytes)} are promised to guests; "
            + _promised(others, format_decimal(sum(b.disk_bytes for b in others))),
            mend="take another pool, or have a booking released",
        )


def _promised(others: Sequence[Booking], amount: str) -> str:
    if not others:
        return "nothing is booked there"
    jobs = ", ".join(sorted({f'"{booking.job}"' for booking in others}))
    return f"{amount} are booked there for {jobs}"
