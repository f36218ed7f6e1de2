"""Whether seats leave what the design asks for after a failure; and what is learnt where they do not.

Each scenario is asked exactly: what is left of the cluster (failures/minimum.py), and whether everything that is
displaced restarts (failures/restart.py). Where something does not, a cut is made of it that holds for as many placements
as the proof reaches (lifting.py). Not here: the search that keeps away from it.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Final

from staddle.failures.minimum import why_down, why_down_here
from staddle.failures.restart import CannotRestart, Restarted, RestartOutcome, RestartUndecided
from staddle.failures.running import Running
from staddle.failures.scenario import Scenario
from staddle.placement.alone import not_restarting
from staddle.placement.bars import group
from staddle.placement.data import Tables
from staddle.placement.learnt import NOTHING_LEARNT, Cut, Learnt
from staddle.placement.lifting import Lifting, asking
from staddle.placement.model import MemberNeed, Reserve, Seat, Survive

__all__ = ["ReserveAnswer", "ReserveCheck", "Shortage"]

_MOST_NEW_CUTS: Final = 8  # of one placement and reach; more are mostly the same shortage once more
_MOST_WHERE_MANY: Final = (
    2  # the same where there are many reaches: a large estate learns of all of them at once
)
_MANY_REACHES: Final = 4

_Asked = tuple[bool, tuple[str, ...], tuple[str, ...]]
"""Whether guests of others restart too, hosts, pools: what several clusters may ask for alike."""


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
    ours after which guests of others do not restart even without us, ``stops`` (scenario, why) after which a cluster does not
    serve, wherever its members stand.
    """

    shortages: tuple[Shortage, ...] = ()
    learnt: Learnt = NOTHING_LEARNT
    undecided: tuple[str, ...] = ()
    short_alone: tuple[str, ...] = ()
    stops: tuple[tuple[str, str], ...] = ()


class ReserveCheck:
    """The check of one problem, ready for many placements."""

    def __init__(self, tables: Tables) -> None:
        self._tables: Final = tables
        reserve = tables.problem.reserve
        self._reserve: Final = Reserve(survive=()) if reserve is None else reserve
        self._test: Final = tables.alone.test
        self._reach_by_scenario: Final[dict[Scenario, frozenset[str]]] = {}

    def check(
        self, seats: Sequence[Seat], active: frozenset[str], *, every: bool = False, learning: bool = True
    ) -> ReserveAnswer:
        """Ask all scenarios of the active groups.

        Args: seats: one a member, in the order of the members; every: do not stop after some shortages; learning: make
            cuts of them.
        """
        shortages: list[Shortage] = []
        cuts: list[Cut] = []
        scenarios: dict[int, tuple[Scenario, ...]] = {}
        undecided: list[str] = []
        short_alone: list[str] = []
        stops: list[tuple[str, str]] = []
        ours = self.running(seats, active)
        outcomes: dict[_Asked, RestartOutcome] = {}
        made: dict[_Asked, Cut] = {}
        near = self._near(seats)
        short: Counter[frozenset[str]] = Counter()  # by reach
        most = _MOST_NEW_CUTS if len(set(self._reach.values())) <= _MANY_REACHES else _MOST_WHERE_MANY
        for position, survive in self._asked(active):
            name = group(survive.cluster, f"survive:{survive.sentence}")
            for scenario in survive.scenarios:
                reach = self._reach_of(scenario)
                if short[reach] >= most and not every:
                    continue
                reason, anywhere = self._too_little_left(survive, scenario, seats)
                if anywhere and not reason:
                    stops.append((scenario.name, anywhere))
                if reason:
                    shortages.append(Shortage(group=name, scenario=scenario.name, reason=reason))
                    scenarios[position] = (*scenarios.get(position, ()), scenario)
                    short[reach] += 1
                    continue
                key = (survive.others_restart, scenario.hosts, scenario.pools)
                if key not in outcomes:  # several clusters ask for the same
                    outcomes[key] = self._restart(survive, scenario, asking(ours, scenario, active))
                outcome = outcomes[key]
                if survive.others_restart and near(scenario) and self._tables.alone.known_short(scenario):
                    short_alone.append(scenario.name)
                if isinstance(outcome, RestartUndecided):
                    undecided.append(scenario.name)
                elif isinstance(outcome, CannotRestart):
                    short[reach] += 1
                    shortages.append(
                        Shortage(group=name, scenario=scenario.name, reason=not_restarting(outcome))
                    )
                    if not learning:
                        continue
                    if key not in made:
                        made[key] = self._cut(name, survive, scenario, seats, ours, active)
                    cuts.append(replace(made[key], group=name))
        return ReserveAnswer(
            shortages=tuple(shortages),
            learnt=Learnt(cuts=tuple(dict.fromkeys(cuts)), scenarios=scenarios),
            undecided=tuple(dict.fromkeys(undecided)),
            short_alone=tuple(dict.fromkeys(short_alone)),
            stops=tuple(dict.fromkeys(stops)),
        )

    @cached_property
    def _reach(self) -> dict[str, frozenset[str]]:
        """The pools that each host reaches."""
        return {host.name: frozenset(host.pools) for host in self._tables.problem.hosts}

    def _reach_of(self, scenario: Scenario) -> frozenset[str]:
        """The pools that the failed hosts reach."""
        if scenario not in self._reach_by_scenario:
            reaches = (self._reach.get(name, frozenset()) for name in scenario.hosts)
            self._reach_by_scenario[scenario] = frozenset[str]().union(*reaches)
        return self._reach_by_scenario[scenario]

    def _near(self, seats: Sequence[Seat]) -> Callable[[Scenario], bool]:
        """Whether a scenario fails a host at a site where a member of ours stands; everywhere where there are no sites."""
        hosts = self._tables.problem.hosts
        sites = {host.name: {name for kind, name in host.domains if kind == "site"} for host in hosts}
        own = set().union(*(sites[seat.host] for seat in seats))
        return lambda scenario: not own or any(own & sites.get(name, set()) for name in scenario.hosts)

    def running(self, seats: Sequence[Seat], active: frozenset[str] | None = None) -> tuple[Running, ...]:
        """Our members as they will run in these seats.

        Args: active: groups of rules that hold, None for all; what another one asks for is not asked after a failure either.
        """
        tables = self._tables
        active = frozenset(row.name for row in tables.groups) if active is None else active
        hosts = tables.problem.hosts
        return tuple(
            Running(
                name=f"{member.name} (ours)",
                host=seat.host,
                memory_bytes=hosts[tables.host_at[seat.host]].memory_for(member),
                vcpus=member.vcpus,
                vcpu_per_core=member.vcpu_per_core or None,
                pools=tuple(dict.fromkeys(pool for _, pool in seat.disks)),
                networks=member.networks if "networks" in active else (),
                cpu_levels=member.cpu_levels if "cpu-level" in active else (),
                sites=self._restart_sites(member, seat.host, active),
                restart_order=member.restart_order,
                apart=f"{member.cluster} (ours)" if member.cluster in self._reserve.apart_after else "",
                ours=True,
            )
            for member, seat in zip(tables.problem.members, seats, strict=True)
        )

    def _restart_sites(self, member: MemberNeed, host: str, active: frozenset[str]) -> tuple[str, ...]:
        """Where it may restart when that host fails, () for anywhere.

        What it holds stays near the others' where sites are too far apart.
        """
        tables = self._tables
        if member.site and f"site:{member.site}" in active:
            return (member.site,)
        near = group(member.cluster, "latency") in active and tables.rules_of(member).too_far
        if member.data and near:
            domains = tables.problem.hosts[tables.host_at[host]].domains
            return tuple(name for kind, name in domains if kind == "site")
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
        down = self._down(scenario)
        return self._test.restart(scenario.hosts, scenario.pools, without=down, extra=ours)

    def _down(self, scenario: Scenario) -> tuple[str, ...]:
        failed = set(scenario.hosts)
        return tuple(machine.name for machine in self._reserve.machines if machine.host in failed)

    def _too_little_left(
        self, survive: Survive, scenario: Scenario, seats: Sequence[Seat]
    ) -> tuple[str, str]:
        """Why what is left of the cluster is too little: as far as its place is the reason, and at all. "" when it is enough."""
        hosts, pools = set(scenario.hosts), set(scenario.pools)
        tables = self._tables
        own = tables.members_of(tables.rules[survive.cluster])
        members = [(tables.problem.members[i], seats[i]) for i in own]
        lost = {
            member.name
            for member, seat in members
            if seat.host in hosts or (pools and any(pool in pools for _, pool in seat.disks))
        }
        if not lost:
            return "", ""
        left = [member for member, _ in members if member.name not in lost]
        every = [member for member, _ in members]
        here = why_down_here(left, every, least_data=survive.least_data)
        return here, here or why_down(left, every, least_data=survive.least_data)

    def _cut(
        self,
        name: str,
        survive: Survive,
        scenario: Scenario,
        seats: Sequence[Seat],
        ours: Sequence[Running],
        active: frozenset[str],
    ) -> Cut:
        others = survive.others_restart and not self._tables.alone.shortage(scenario)
        without = () if others else self._down(scenario)
        sites_at = partial(self._restart_sites, active=active)
        lifting = Lifting(
            self._tables, self._test, scenario, seats, ours, without=without, active=active, sites_at=sites_at
        )
        return lifting.cut(name)
