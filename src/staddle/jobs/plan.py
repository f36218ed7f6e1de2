"""plan: one ground seen from outside: what stands in what, how it is drawn, what a failure or an emptied host does to it.

Everything that does not change with the question is worked out once, so that a question is answered quickly.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from staddle.dossier.elevation import Elevation, PoolElevation, placement_drawing_data
from staddle.dossier.plan_drawing import plan_svg
from staddle.dossier.plan_elevation import plan_elevation
from staddle.dossier.plan_links import PlanLinks
from staddle.estate.bookings import Booking
from staddle.failures.domains import Above, domains_above
from staddle.jobs.move import MoveReport, choose, move
from staddle.jobs.place import PlaceReport, why
from staddle.jobs.survive import Ground, fail_on, ground_of
from staddle.kernel import InputRefused
from staddle.placement.model import Placement, Seat
from staddle.placement.why import Why
from staddle.survival.judge import Judgement

__all__ = ["Part", "Plan", "part_names"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """Something that can fail besides hosts. ``within``: the domains that it stands in, the nearest first; ``hosts`` and
    ``pools`` fail with it; ``pool`` is its level where it is one."""

    kind: str
    name: str
    within: tuple[str, ...]
    hosts: tuple[str, ...]
    pools: tuple[str, ...]
    pool: PoolElevation | None


class Plan:
    """The plan of one ground. Args: ground: as read; it is never changed; bookings: what other jobs were promised then."""

    def __init__(self, ground: Ground, *, bookings: tuple[Booking, ...] = ()) -> None:
        self.ground: Final = ground
        self.bookings: Final = bookings

    def make_ready(self) -> None:
        """Work out now what every question needs, so that the first one is answered as quickly as the others."""
        hosts = self.ground.job.reading.estate.hosts
        if hosts:
            fail_on(self.ground, (hosts[0].name,))
        _ = self.elevation, self.above, self.parts, self.host_of, self.memory_bytes

    @cached_property
    def above(self) -> Mapping[str, Above]:
        """For each host what it stands in."""
        return domains_above(self.ground.job.reading.estate)

    @cached_property
    def elevation(self) -> Elevation:
        """The estate with the members where they are taken to stand."""
        placement = Placement(seats=self.ground.seats) if self.ground.seats else None
        return placement_drawing_data(self.ground.job.reading.estate, self.ground.placed.problem, placement)

    @cached_property
    def memory_bytes(self) -> Mapping[str, int]:
        """Of every machine, by name."""
        return {machine.name: machine.memory_bytes for machine in self.ground.machines}

    @cached_property
    def host_of(self) -> Mapping[str, str]:
        """Where every machine stands, by name."""
        return {machine.name: machine.host for machine in self.ground.machines}

    @cached_property
    def parts(self) -> tuple[Part, ...]:
        """Every pool and domain, kind by kind in the order of the tables; pools last."""
        estate = self.ground.job.reading.estate
        inside = {domain.name: domain.inside for domain in estate.domains}
        pools = {pool.name: pool for site in self.elevation.sites for pool in site.pools}
        return (
            *(
                Part(
                    kind=domain.kind,
                    name=domain.name,
                    within=tuple(_within(domain.inside, inside)),
                    hosts=self.ground.inside[domain.kind, domain.name].hosts,
                    pools=self.ground.inside[domain.kind, domain.name].pools,
                    pool=None,
                )
                for domain in estate.domains
            ),
            *(
                Part(
                    kind="pool",
                    name=pool.name,
                    within=pool.domains,
                    hosts=(),
                    pools=(),
                    pool=pools.get(pool.name),
                )
                for pool in estate.pools
            ),
        )

    def drawn(
        self, *, judgement: Judgement | None, opened: Sequence[str], links: PlanLinks, says: str
    ) -> tuple[str, bool]:
        """The drawing with its links, and whether racks are drawn small. Args: opened: racks drawn whole all the same.

        Raises: InputRefused: a rack that is not there.
        """
        racks = {rack.name for site in self.elevation.sites for rack in site.racks}
        if unknown := [name for name in opened if name not in racks]:
            raise InputRefused.one(f'there is no rack "{unknown[0]}"', where="address: open")
        shown = plan_elevation(
            self.elevation, self.above, judgement=judgement, memory_bytes=self.memory_bytes, opened=opened
        )
        cluster = self.ground.basis.cluster
        return plan_svg(shown, cluster=cluster, says=says, links=links), shown.is_large

    def move(self, *, member: str, host: str) -> MoveReport:
        """As jobs/move.py tells it. Raises: InputRefused, NotAllowed: as there."""
        return move(self.ground.placed, member=member, host=host)

    def why(self, *, member: str, host: str) -> Why:
        """The best with that member on that host, everything else free to move. Raises: as jobs.place.why."""
        return why(self.ground.placed, member=member, host=host)

    def chosen(self, seats: tuple[Seat, ...], *, member: str) -> PlaceReport:
        """These seats as a report that may be settled. Raises: NotAllowed: they break a rule."""
        return choose(self.ground.placed, seats, member=member)

    def with_seats(self, seats: tuple[Seat, ...]) -> "Plan":
        """The plan as it would be with the members in these seats."""
        return Plan(ground_of(self.ground.placed, seats=seats), bookings=self.bookings)


def _within(name: str | None, inside: Mapping[str, str | None]) -> Iterator[str]:
    while name:
        yield name
        name = inside[name]


def part_names(text: str) -> tuple[str, ...]:
    """Names between commas, each once, as a command line or an address writes them."""
    return tuple(dict.fromkeys(_parts(text)))


def _parts(text: str) -> Iterator[str]:
    for name in text.split(","):
        if name.strip():
            yield name.strip()
