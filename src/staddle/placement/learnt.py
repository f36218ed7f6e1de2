"""What a search has learnt about the reserve by asking about placements it had found. Values only.

A cut says that so many members may not all stand in some places; a scenario of "any 2 racks" that was not survived is written
into the model from then on. Both hold for every placement, so that what they exclude is proven to be excluded.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from staddle.failures.scenario import Scenario

__all__ = ["NOTHING_LEARNT", "Cut", "Learnt", "Place", "Taken"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a member counts for a cut: on one of ``hosts``, whatever its pools; or on one of ``failed``, to restart.

    ``failed`` hosts fail in the scenario of the cut. A member there counts if none of its disks lies in a pool that fails
    too, and if they lie in ``pools``, one a disk, where these are not None.
    """

    hosts: frozenset[str] = frozenset()
    failed: frozenset[str] = frozenset()
    pools: tuple[str, ...] | None = None

    def meets(self, other: "Place") -> bool:
        """Whether one member may count for both."""
        return bool(self.hosts & other.hosts) or (
            bool(self.failed & other.failed)
            and (self.pools is None or other.pools is None or self.pools == other.pools)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """So many members of these classes (positions in data.Tables.classes) in that place."""

    classes: tuple[int, ...]
    place: Place
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What together leaves too little after a scenario: a member for each of what is taken, no member for two.

    ``group`` names the group of rules that asks for it, ``assumed`` those besides that the proof rests on; ``lost_pools``
    are the pools that fail in the scenario.
    """

    group: str
    taken: tuple[Taken, ...]
    lost_pools: tuple[str, ...] = ()
    assumed: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """Cuts, and scenarios by the position of their sentence."""

    cuts: tuple[Cut, ...] = ()
    scenarios: Mapping[int, tuple[Scenario, ...]] = field(default_factory=dict)

    def with_more(self, other: "Learnt") -> "Learnt":
        """Both together."""
        scenarios = dict(self.scenarios)
        for position, rows in other.scenarios.items():
            scenarios[position] = tuple(dict.fromkeys((*scenarios.get(position, ()), *rows)))
        return Learnt(cuts=tuple(dict.fromkeys((*self.cuts, *other.cuts))), scenarios=scenarios)

    def __bool__(self) -> bool:
        return bool(self.cuts or self.scenarios)


NOTHING_LEARNT = Learnt()
