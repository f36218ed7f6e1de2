"""Rules about storage: thin disks, allowances, what pools have left after the members are placed."""

from collections.abc import Iterator
from typing import Final

from staddle.estate.model import Pool
from staddle.estate.room import floor_bytes, promise_bytes
from staddle.kernel import Severity, format_decimal
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule

_NEEDS: Final = (Need.ESTATE, Need.PROBLEM, Need.SEATS)
_LEAST_SNAPSHOT_PERCENT: Final = 10
_LEAST_FREE_PERCENT: Final = 20


@rule(
    name="thin-data-disk",
    severity=Severity.RISK,
    title="A disk of members that hold data is thin",
    reason="a pool that fills stops every member on it, and first writes are slower",
    mend="write allocation: thick for it",
)
def thin_data_disk(facts: Facts) -> Iterator[Found]:
    storage = facts.design.storage
    if not any(member.data for member in facts.design.members):
        return
    if storage.allocation == "thin":
        yield Found(what="disks are thin unless a row says otherwise", where=facts.at("storage.allocation"))
    for number, choice in enumerate(storage.disks):
        if choice.allocation == "thin":
            yield Found(
                what=f"the disk {choice.disk} is thin", where=facts.at(f"storage.disks[{number}].allocation")
            )


@rule(
    name="small-snapshot-allowance",
    severity=Severity.RISK,
    title="Little or no room is allowed for snapshots",
    reason="a snapshot within a change, or a backup's, grows with what is written and may fill the pool",
    mend=f"allow {_LEAST_SNAPSHOT_PERCENT} to 20 %, or waive this where the platform takes none",
)
def small_snapshot_allowance(facts: Facts) -> Iterator[Found]:
    percent = facts.design.storage.snapshot_percent
    if percent < _LEAST_SNAPSHOT_PERCENT:
        yield Found(
            what=f"the allowance for snapshots is {percent} % of the disks",
            where=facts.at("storage.snapshot_percent"),
        )


def _used_pools(facts: Facts) -> Iterator[tuple[Pool, int, int]]:
    """Each pool that holds disks of members, with what is free and what is promised then, in bytes."""
    rooms = {room.name: room for room in facts.get_problem().pools}
    needs = {
        (member.name, disk.disk_id): disk for member in facts.get_problem().members for disk in member.disks
    }
    for pool in facts.get_estate().pools:
        mine = [
            needs[seat.member, disk]
            for seat in facts.get_seats()
            for disk, where in seat.disks
            if where == pool.name and (seat.member, disk) in needs
        ]
        if mine and pool.name in rooms:
            room = rooms[pool.name]
            free_bytes = room.free_bytes + floor_bytes(pool) - sum(disk.written_bytes for disk in mine)
            left_bytes = room.promise_bytes - sum(disk.promised_bytes for disk in mine)
            yield pool, free_bytes, promise_bytes(pool) - left_bytes


@rule(
    name="pool-below-its-floor",
    severity=Severity.STOP,
    title="A pool falls below its floor with the members' disks",
    reason="a full pool stops every guest on it, not only the members",
    mend="place the disks elsewhere, or add storage",
    needs=_NEEDS,
)
def pool_below_its_floor(facts: Facts) -> Iterator[Found]:
    for pool, free_bytes, _ in _used_pools(facts):
        if free_bytes < floor_bytes(pool):
            yield Found(
                what=f"pool {pool.name} has {format_decimal(free_bytes)} free with the members' disks, its floor is "
                f"{format_decimal(floor_bytes(pool))} ({pool.floor_percent:g} %)",
                where=f"pool {pool.name}",
            )


@rule(
    name="pool-nearly-full",
    severity=Severity.RISK,
    title=f"A pool has less than {_LEAST_FREE_PERCENT} % free with the members' disks",
    reason="what is there grows, and a rebuild or a snapshot needs room at once",
    mend="place the disks elsewhere, or add storage",
    needs=_NEEDS,
)
def pool_nearly_full(facts: Facts) -> Iterator[Found]:
    for pool, free_bytes, _ in _used_pools(facts):
        below = 100 * free_bytes < _LEAST_FREE_PERCENT * pool.capacity_bytes
        if below and free_bytes >= floor_bytes(pool):  # else it is worse, and told by another rule
            yield Found(
                what=f"pool {pool.name} has {format_decimal(free_bytes)} of {format_decimal(pool.capacity_bytes)} "
                f"free with the members' disks, {100 * free_bytes // pool.capacity_bytes} %",
                where=f"pool {pool.name}",
            )


@rule(
    name="promise-above-capacity",
    severity=Severity.RISK,
    title="A pool with members' disks has promised more than it holds",
    reason="when other guests write what they were promised, the pool is full and every member on it stops",
    mend="place the disks on a pool whose promises it can keep",
    needs=_NEEDS,
)
def promise_above_capacity(facts: Facts) -> Iterator[Found]:
    for pool, _, promised_bytes in _used_pools(facts):
        if promised_bytes > pool.capacity_bytes:
            yield Found(
                what=f"pool {pool.name} has promised {format_decimal(promised_bytes)} with the members' disks and holds "
                f"{format_decimal(pool.capacity_bytes)}",
                where=f"pool {pool.name}",
            )
