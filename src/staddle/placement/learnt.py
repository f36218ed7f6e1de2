"""What a search has learnt about the reserve by asking about placements it had found. Values only.

A cut says that some seats may not all be taken; a scenario of "any 2 racks" that was not survived is written into the
model from then on. Both hold for every placement, so that what they exclude is proven to be excluded.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from staddle.failures.scenario import Scenario

__all__ = ["NOTHING_LEARNT", "Cut", "CutSeat", "Learnt"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CutSeat:
    """Some member of a class on that host, its disks in these pools."""

    class_position: int
    host: str
    pools: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """Seats that together leave too little after a scenario. ``group`` names the group of rules that asks for it."""

    group: str
    seats: tuple[CutSeat, ...]


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
