"""The levels of the objective, computed from seats: what the solver minimised must come out the same here.

From the most important down:

1. ``shared fate``: pairs of members of one cluster that one domain below a site touches, weighted by kind
   (fates.FATE_WEIGHTS);
2. ``movement``: members that leave their settled host, and disks that leave their settled pool, one each;
3. ``host fill``: memory of the fullest host used, per mille;
4. ``pool fill``: the fullest pool used, per mille, its floor counted as full;
5. ``fill after a failure``: after the worst scenario of the design, memory asked for on the hosts to which machines are
   bound by their pools, per mille of what those hosts then offer (reach.py);
6. ``table order``: positions of hosts and pools in their tables, weighing more for members whose kind comes earlier.
"""

from typing import Final

from staddle.placement.data import Tables
from staddle.placement.fill import fill_permille
from staddle.placement.model import Seat
from staddle.placement.reach import Reach

__all__ = ["LEVELS", "host_fill", "level_values", "shared_domains"]

LEVELS: Final = (
    "shared fate",
    "movement",
    "host fill",
    "pool fill",
    "fill after a failure",
    "table order",
)


def level_values(tables: Tables, seats: tuple[Seat, ...]) -> tuple[int, ...]:
    """The value of each of LEVELS. Args: seats: one a member, in the order of the members."""
    return (
        _shared_fate(tables, seats),
        _movement(tables, seats),
        max((host_fill(tables, seats, name) for name in {seat.host for seat in seats}), default=0),
        max((_pool_fill(tables, seats, name) for name in {p for s in seats for _, p in s.disks}), default=0),
        max((_reach_fill(tables, seats, reach) for reach in tables.reaches), default=0),
        _table_order(tables, seats),
    )


def shared_domains(tables: Tables, seats: tuple[Seat, ...], member: str) -> tuple[tuple[str, str, str], ...]:
    """(kind, name, other member of its cluster) of each domain below a site that this member shares.

    Returns: in the order of the tables.
    """
    cluster = {m.name: m.cluster for m in tables.problem.members}
    touched = {seat.member: tables.touched(seat) for seat in seats if cluster[seat.member] == cluster[member]}
    own = sorted(touched[member], key=tables.fate_at.__getitem__)
    return tuple(
        (kind, name, other)
        for kind, name in own
        if tables.fates[tables.fate_at[kind, name]].below_site
        for other in touched
        if other != member and (kind, name) in touched[other]
    )


def _shared_fate(tables: Tables, seats: tuple[Seat, ...]) -> int:
    counts: dict[tuple[str, str, str], int] = {}
    for member, seat in zip(tables.problem.members, seats, strict=True):
        for kind, name in tables.touched(seat):
            key = (member.cluster, kind, name)
            counts[key] = counts.get(key, 0) + 1
    total = 0
    for (_, kind, name), count in counts.items():
        fate = tables.fates[tables.fate_at[kind, name]]
        total += fate.weight * count * (count - 1) // 2 if fate.below_site else 0
    return total


def _movement(tables: Tables, seats: tuple[Seat, ...]) -> int:
    moved = 0
    for seat in seats:
        before = tables.settled.get(seat.member)
        if before is not None:
            moved += before.host != seat.host
            moved += sum(a[1] != b[1] for a, b in zip(before.disks, seat.disks, strict=False))
    return moved


def host_fill(tables: Tables, seats: tuple[Seat, ...], name: str) -> int:
    """Memory of that host with these seats taken, per mille of its total, rounded up."""
    host = tables.problem.hosts[tables.host_at[name]]
    pairs = zip(tables.problem.members, seats, strict=True)
    needs = (host.memory_for(member) for member, seat in pairs if seat.host == name)
    return fill_permille(host.memory_total_bytes, host.memory_bytes, needs)


def _pool_fill(tables: Tables, seats: tuple[Seat, ...], name: str) -> int:
    pool = tables.problem.pools[tables.pool_at[name]]
    needs = (
        disk.written_bytes
        for member, seat in zip(tables.problem.members, seats, strict=True)
        for disk, (_, taken) in zip(member.disks, seat.disks, strict=True)
        if taken == name
    )
    return fill_permille(pool.capacity_bytes, pool.free_bytes, needs)


def _reach_fill(tables: Tables, seats: tuple[Seat, ...], reach: Reach) -> int:
    ours = sum(
        member.memory_bytes
        for member, seat in zip(tables.problem.members, seats, strict=True)
        if any(tables.pool_at[pool] in reach.pools for _, pool in seat.disks)
    )
    return max((line.permille(ours) for line in reach.lines), default=0) if ours else 0


def _table_order(tables: Tables, seats: tuple[Seat, ...]) -> int:
    return sum(
        (len(seats) - tables.classes[tables.class_of[seat.member]][0])
        * (tables.host_at[seat.host] + sum(tables.pool_at[pool] for _, pool in seat.disks))
        for seat in seats
    )
