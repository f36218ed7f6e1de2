"""Whether what keeps a placement still holds: what was seen of the running members, against what was to be set. Pure.

Whoever moves a machine, a person or a balancing platform, leaves it where the next survey sees it. Not here: what was to be
set (keeping.py), and who looks.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from staddle.placement.keeping import Keeping, MemberKeeping

__all__ = ["Drift", "SeenAt", "drifted"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenAt:
    """Where one running member was seen: its host, and a pool that holds a disk of it ("" where none was seen)."""

    host: str
    pool: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """One thing that is not as it was to be kept. ``members`` are those it is about, in the order of the placement."""

    members: tuple[str, ...]
    what: str


def drifted(keeping: Keeping, seen: Mapping[str, SeenAt]) -> tuple[Drift, ...]:
    """Everything that is not as it was to be kept; () where all is, and of members that were not seen nothing is said.

    Args: seen: by the member's name.
    """
    found: list[Drift] = []
    for row in keeping.apart:
        on: dict[str, list[str]] = {}
        for member in row.members:
            if member in seen:
                on.setdefault(seen[member].host, []).append(member)
        found += [
            Drift(
                members=tuple(members),
                what=f"{', '.join(members)} run on one host, {host}; at most {row.most} of {', '.join(row.members)} should",
            )
            for host, members in on.items()
            if len(members) > row.most
        ]
    for own in keeping.members:
        if own.member in seen:
            found += _of_member(own, seen[own.member])
    return tuple(found)


def _of_member(own: MemberKeeping, seen: SeenAt) -> list[Drift]:
    found = []
    if own.hosts and seen.host not in own.hosts:
        where = " and ".join(f"{kind} {name}" for kind, name in own.within)
        found.append(
            f"{own.member} runs on {seen.host}, outside {where or 'its hosts'}; settled was {own.host}"
        )
    pools = tuple(dict.fromkeys(pool for _, pool in own.disks))
    if seen.pool and pools and seen.pool not in pools:
        found.append(f"{own.member} has a disk on pool {seen.pool}; settled was {', '.join(pools)}")
    return [Drift(members=(own.member,), what=what) for what in found]
