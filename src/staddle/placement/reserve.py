"""Whether seats leave what the design asks for after a failure; and what is learnt where they do not.

Each scenario is asked exactly: what is left of the cluster (failures/minimum.py), and whether everything that is
displaced restarts (failures/restart.py). Where something does not, those of our seats that are needed for the shortage are
found by leaving one after the other out: to add a machine never makes room, so that whoever takes these seats meets
the same shortage. Not here: the search that keeps away from it.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from staddle.failures.minimum import serves
from staddle.failures.restart import CannotRestart, Restarted, RestartOutcome, RestartUndecided
from staddle.failures.running import Running
from staddle.failures.scenario import Scenario
from staddle.placement.alone import not_restarting
from staddle.placement.bars import group
from staddle.placement.data import Tables
from staddle.placement.learnt import NOTHING_LEARNT, Cut, CutSeat, Learnt
from staddle.placement.model import MemberNeed, Reserve, Seat, Survive

__all__ = ["ReserveAnswer", "ReserveCheck", "Shortage"]

_MOST_NEW_CUTS: Final = 8  # of one placement; more are mostly the same shortage once more


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortage:
    """What does not hold after one scenario, in words."""

    group: str
    scenario: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReserveAnswer:
    """What was found.

    ``undecided`` names scenarios of which it is not known whether everything restarts, ``short_alone`` those at a site of
    ours after which guests of others do not restart even without us.
    """

    shortages: tuple[Shortage, ...] = ()
    learnt: Learnt = NOTHING_LEARNT
    undecided: tuple[str, ...] = ()
    short_alone: tuple[str, ...] = ()


class ReserveCheck:
    """The check of one problem, ready for many placements."""

    def __init__(self, tables: Tables) -> None:
        self._tables: Final = tables
        reserve = tables.problem.reserve
        self._reserve: Final = Reserve(survive=()) if reserve is None else reserve
        self._test: Final = tables.alone.test

    def check(self, seats: Sequence[Seat], active: frozenset[str], *, every: bool = False) -> ReserveAnswer:
        """Ask all scenarios of the active groups.

        Args: seats: one a member, in the order of the members; every: do not stop after some shortages.
        """
        shortages: list[Shortage] = []
        cuts: list[Cut] = []
        scenarios: dict[int, tuple[Scenario, ...]] = {}
        undecided: list[str] = []
        short_alone: list[str] = []
        ours = self.running(seats)
        outcomes: dict[tuple[bool, tuple[str, ...], tuple[str, ...]], RestartOutcome] = {}
        near = self._near(seats)
        for position, survive in self._asked(active):
            name = group(survive.cluster, f"survive:{survive.sentence}")
            for scenario in survive.scenarios:
                if len(shortages) >= _MOST_NEW_CUTS and not every:
                    break
                reason = self._too_little_left(survive, scenario, seats)
                if reason:
                    shortages.append(Shortage(group=name, scenario=scenario.name, reason=reason))
                    scenarios[position] = (*scenarios.get(position, ()), scenario)
                    continue
                key = (survive.others_restart, scenario.hosts, scenario.pools)
                if key not in outcomes:  # several clusters ask for the same
                    outcomes[key] = self._restart(survive, scenario, ours)
                outcome = outcomes[key]
                if survive.others_restart and near(scenario) and self._tables.alone.known_short(scenario):
                    short_alone.append(scenario.name)
                if isinstance(outcome, RestartUndecided):
                    undecided.append(scenario.name)
                elif isinstance(outcome, CannotRestart):
                    shortages.append(
                        Shortage(group=name, scenario=scenario.name, reason=not_restarting(outcome))
                    )
                    cuts.append(self._cut(name, survive, scenario, seats, ours))
        return ReserveAnswer(
            shortages=tuple(shortages),
            learnt=Learnt(cuts=tuple(dict.fromkeys(cuts)), scenarios=scenarios),
            undecided=tuple(dict.fromkeys(undecided)),
            short_alone=tuple(dict.fromkeys(short_alone)),
        )

    def _near(self, seats: Sequence[Seat]) -> Callable[[Scenario], bool]:
        """Whether a scenario fails a host at a site where a member of ours stands; everywhere where there are no sites."""
        hosts = self._tables.problem.hosts
        sites = {host.name: {name for kind, name in host.domains if kind == "site"} for host in hosts}
        own = set().union(*(sites[seat.host] for seat in seats))
        return lambda scenario: not own or any(own & sites.get(name, set()) for name in scenario.hosts)

    def running(self, seats: Sequence[Seat]) -> tuple[Running, ...]:
        """Our members as they will run in these seats."""
        tables = self._tables
        hosts = tables.problem.hosts
        return tuple(
            Running(
                name=f"{member.name} (ours)",
                host=seat.host,
                memory_bytes=hosts[tables.host_at[seat.host]].memory_for(member),
                vcpus=member.vcpus,
                vcpu_per_core=member.vcpu_per_core or None,
                pools=tuple(dict.fromkeys(pool for _, pool in seat.disks)),
                networks=member.networks,
                cpu_levels=member.cpu_levels,
                sites=self._restart_sites(member, seat),
                restart_order=member.restart_order,
                apart=f"{member.cluster} (ours)" if member.cluster in self._reserve.apart_after else "",
                ours=True,
            )
            for member, seat in zip(tables.problem.members, seats, strict=True)
        )

    def _restart_sites(self, member: MemberNeed, seat: Seat) -> tuple[str, ...]:
        """Where it may restart, () for anywhere. What it holds stays near the others' where sites are too far apart."""
        if member.site:
            return (member.site,)
        if member.data and self._tables.problem.rules_of(member).too_far:
            host = self._tables.problem.hosts[self._tables.host_at[seat.host]]
            return tuple(name for kind, name in host.domains if kind == "site")
        return ()

    def _asked(self, active: frozenset[str]) -> Iterator[tuple[int, Survive]]:
        for position, survive in enumerate(self._reserve.survive):
            if group(survive.cluster, f"survive:{survive.sentence}") in active:
                yield position, survive

    def _restart(self, survive: Survive, scenario: Scenario, ours: Sequence[Running]) -> RestartOutcome:
        """Whether all restarts; only our own is asked for where the others may stay down, or would do so anyway."""
        if not scenario.hosts:
            return Restarted(seats=())
        if survive.others_restart:
            outcome = self._test.restart(scenario.hosts, scenario.pools, extra=ours)
            if not isinstance(outcome, CannotRestart) or not self._tables.alone.shortage(scenario):
                return outcome
        failed = set(scenario.hosts)
        if not any(machine.host in failed for machine in ours):
            return Restarted(seats=())
        down = tuple(machine.name for machine in self._reserve.machines if machine.host in failed)
        return self._test.restart(scenario.hosts, scenario.pools, without=down, extra=ours)

    def _too_little_left(self, survive: Survive, scenario: Scenario, seats: Sequence[Seat]) -> str:
        hosts, pools = set(scenario.hosts), set(scenario.pools)
        members = [
            (member, seat)
            for member, seat in zip(self._tables.problem.members, seats, strict=True)
            if member.cluster == survive.cluster
        ]
        lost = {
            member.name
            for member, seat in members
            if seat.host in hosts or any(pool in pools for _, pool in seat.disks)
        }
        if not lost:
            return ""
        left = [member for member, _ in members if member.name not in lost]
        return serves(left, [member for member, _ in members], least_data=survive.least_data)

    def _cut(
        self,
        name: str,
        survive: Survive,
        scenario: Scenario,
        seats: Sequence[Seat],
        ours: Sequence[Running],
    ) -> Cut:
        """The seats that are needed for the shortage: without any one of them it is not proven any more."""
        kept = list(range(len(seats)))
        for position in range(len(seats)):
            fewer = [i for i in kept if i != position]
            if isinstance(self._restart(survive, scenario, [ours[i] for i in fewer]), CannotRestart):
                kept = fewer
        class_of = self._tables.class_of
        return Cut(
            group=name,
            seats=tuple(
                CutSeat(
                    class_position=class_of[seats[i].member],
                    host=seats[i].host,
                    pools=tuple(pool for _, pool in seats[i].disks),
                )
                for i in kept
            ),
        )
