"""Small questions for the placement's tests: members, hosts and pools with as little to say as possible."""

from collections.abc import Iterator, Sequence
from dataclasses import fields as dataclass_fields
from itertools import product
from typing import Any

from staddle.placement.model import (
    Apart,
    ClusterRules,
    DiskNeed,
    HostRoom,
    MemberNeed,
    PoolRoom,
    Problem,
    Seat,
)
from staddle.placement.verify import broken_rules

GIB = 1024**3
GB = 1000**3
_OF_A_CLUSTER = frozenset(row.name for row in dataclass_fields(ClusterRules)) - {"name"}


def member(name: str, **changes: Any) -> MemberNeed:  # noqa: ANN401  any field of the value
    """A member of 16 GiB with 8 vCPUs on networks mgmt and data and one disk of 100 GB."""
    fields: dict[str, Any] = {
        "memory_bytes": 16 * GIB,
        "vcpus": 8,
        "networks": ("mgmt", "data"),
        "disks": (disk("data"),),
    }
    return MemberNeed(name=name, **(fields | changes))


def disk(name: str, size_bytes: int = 100 * GB) -> DiskNeed:
    """A thick disk."""
    return DiskNeed(disk_id=name, promised_bytes=size_bytes, written_bytes=size_bytes)


def host(name: str, rack: str, **changes: Any) -> HostRoom:  # noqa: ANN401  any field of the value
    """A host with 64 of 128 GiB left, at site ousemoor, reaching the pool of its rack."""
    fields: dict[str, Any] = {
        "memory_bytes": 64 * GIB,
        "vcpus": 32,
        "memory_total_bytes": 128 * GIB,
        "networks": ("mgmt", "data"),
        "pools": (f"pool-{rack}",),
        "domains": (("rack", rack), ("site", "ousemoor")),
        "cpu_level": "level-4",
        "node_cores": 16,
        "node_memory_bytes": 64 * GIB,
    }
    return HostRoom(name=name, **(fields | changes))


def pool(name: str, **changes: Any) -> PoolRoom:  # noqa: ANN401  any field of the value
    """A pool of 2 TB with 1 TB left in every respect."""
    fields: dict[str, Any] = {
        "free_bytes": 1000 * GB,
        "promise_bytes": 1000 * GB,
        "capacity_bytes": 2000 * GB,
        "domains": (("site", "ousemoor"),),
    }
    return PoolRoom(name=name, **(fields | changes))


def ousemoor(**changes: Any) -> Problem:  # noqa: ANN401  any field of the value
    """Three voters, two hosts in each of three racks, a pool a rack; apart by host and rack."""
    fields: dict[str, Any] = {
        "members": (member("sl1", leads="first"), member("sl2", leads="second"), member("sl3")),
        "hosts": tuple(host(f"om-h{n}", f"om-r{(n + 1) // 2}") for n in range(1, 7)),
        "pools": tuple(pool(f"pool-om-r{n}") for n in range(1, 4)),
        "clusters": (cluster(),),
    }
    own = {name: value for name, value in changes.items() if name in _OF_A_CLUSTER}
    if own:
        fields["clusters"] = (cluster(**own),)
    return Problem(**(fields | {name: value for name, value in changes.items() if name not in own}))


def cluster(**changes: Any) -> ClusterRules:  # noqa: ANN401  any field of the value
    """Apart by host and rack, no host with half of the votes, one CPU level. Args: apart: kinds, or Apart rows."""
    fields: dict[str, Any] = {
        "apart": ("host", "rack"),
        "majority_kinds": ("host",),
        "one_cpu_level": True,
    }
    fields |= changes
    fields["apart"] = tuple(Apart(kind=row) if isinstance(row, str) else row for row in fields["apart"])
    return ClusterRules(**fields)


def bins(items: Sequence[int], capacity: int, count: int) -> Problem:
    """Bin packing as a placement: an item is a member's memory, a bin an empty host; nothing else matters."""
    return Problem(
        members=tuple(
            MemberNeed(name=f"item-{n:03}", memory_bytes=item, vcpus=0) for n, item in enumerate(items)
        ),
        hosts=tuple(
            HostRoom(
                name=f"bin-{n:03}",
                memory_bytes=capacity,
                vcpus=0,
                memory_total_bytes=capacity,
                networks=(),
                pools=(),
                domains=(),
            )
            for n in range(count)
        ),
        clusters=(ClusterRules(apart=()),),
    )


def every_valid(problem: Problem) -> list[tuple[Seat, ...]]:
    """All valid placements, found by trying every host and every pool for everything."""
    return list(_tried(problem))


def any_valid(problem: Problem) -> bool:
    """Whether there is a valid placement, found in the same way."""
    return next(_tried(problem), None) is not None


def _tried(problem: Problem) -> Iterator[tuple[Seat, ...]]:
    choices = [
        [
            Seat(
                member=m.name, host=h.name, disks=tuple(zip((d.disk_id for d in m.disks), pools, strict=True))
            )
            for h in problem.hosts
            for pools in product([p.name for p in problem.pools], repeat=len(m.disks))
        ]
        for m in problem.members
    ]
    return (seats for seats in product(*choices) if not broken_rules(problem, seats))
