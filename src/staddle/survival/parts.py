"""From a cluster and its rates, at one end of the ranges, to the parts that fail independently of each other.

A part is a domain, a member's machine or service, a host's planned restart, or what all members have in common (the
beta-factor model). It fails at a rate and then goes through stages: what it holds is down, at first also without a
leader; members that restart elsewhere come back; at last it is mended and the others come back.

A stage that ends b hours after the failure has begun has been reached, or something before it, for the share λb/(1+λb) of
the time. For one stage that is the usual MTTR/(MTBF+MTTR), whatever the spans' distributions. For several it lets a
member that restarted elsewhere fail there as well: the repair of what it left protects it from nothing.

Not here: what the cluster does then (exact.py, simulated.py).
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import Enum

from staddle.survival.cluster import Cluster, DomainKey
from staddle.survival.formulas import HOURS_A_YEAR, share_down
from staddle.survival.rates import Quantity, Rate, Rates

__all__ = ["End", "Part", "Stage", "domain_cause", "parts_of", "plural"]


class End(Enum):
    """Which end of every range is meant."""

    OPTIMISTIC = "optimistic"
    PESSIMISTIC = "pessimistic"
    MEASURED = "measured"

    def of(self, rate: Rate) -> float:
        """The value at this end; a larger one is worse. MEASURED: the single one, or the middle where there is none."""
        if self is End.MEASURED:
            return (rate.low + rate.high) / 2 if rate.point is None else rate.point
        return rate.high if self is End.PESSIMISTIC else rate.low

    @property
    def other(self) -> "End":
        """The end for what gets worse as the value gets smaller: the share that is not in common."""
        return {End.PESSIMISTIC: End.OPTIMISTIC, End.OPTIMISTIC: End.PESSIMISTIC}.get(self, self)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """What is down until ``until_h`` after the failure; ``leaderless``: who led among them has no successor yet."""

    until_h: float
    down: frozenset[int]
    leaderless: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One thing that fails by itself. ``cause`` is what it is counted under; stages get milder, each ends later."""

    cause: str
    failures_per_h: float
    stages: tuple[Stage, ...]

    def shares(self) -> tuple[float, ...]:
        """The share of time spent in each stage; what is left of 1 is spent up."""
        reached = [share_down(self.failures_per_h, stage.until_h) for stage in self.stages]
        return tuple(end - begin for begin, end in zip([0.0, *reached[:-1]], reached, strict=True))

    def members(self) -> frozenset[int]:
        """Every member that it can take down."""
        return frozenset().union(*(stage.down for stage in self.stages))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spans:
    """The spans of an outage at one end, in hours."""

    detection: float
    take_over: float
    machine: float
    service: float

    @property
    def leader(self) -> float:
        return self.detection + self.take_over


def parts_of(cluster: Cluster, rates: Rates, end: End) -> tuple[Part, ...]:
    """Every part that can fail and take a member down, at one end of the ranges. Those that never fail are left out.

    Order: domains as the members name them, planned restarts, machines, services, then what is in common.
    """
    spans = _Spans(
        detection=end.of(rates.get(Quantity.DETECTION, "")),
        take_over=end.of(rates.get(Quantity.TAKE_OVER, "")),
        machine=end.of(rates.get(Quantity.RESTART, "machine")),
        service=end.of(rates.get(Quantity.RESTART, "service")),
    )
    found = (
        *_domains(cluster, rates, end, spans),
        *_planned(cluster, rates, end, spans),
        *_own(cluster, rates, end, spans),
    )
    return tuple(part for part in found if part.failures_per_h > 0 and part.stages)


def _domains(cluster: Cluster, rates: Rates, end: End, spans: _Spans) -> Iterator[Part]:
    touched = cluster.touched()
    for (kind, name), members in touched.items():
        alone = 1.0
        if _many(touched, kind):
            alone -= end.other.of(rates.of_domain(Quantity.COMMON_CAUSE, kind, name))
        outlive = frozenset(i for i in members if (kind, name) in cluster.members[i].outlives)
        repair_h = end.of(rates.of_domain(Quantity.REPAIR, kind, name))
        yield Part(
            cause=domain_cause(cluster, (kind, name), members),
            failures_per_h=alone * end.of(rates.of_domain(Quantity.FAILURES, kind, name)) / HOURS_A_YEAR,
            stages=_stages(
                repair_h + spans.machine + spans.service,
                frozenset(members),
                leader_h=spans.leader,
                restart_h=spans.detection + spans.machine + spans.service,
                outlive=outlive,
            ),
        )
    for kind in cluster.kinds():
        if _many(touched, kind):
            yield _together(cluster, rates, end, spans, kind)


def _together(cluster: Cluster, rates: Rates, end: End, spans: _Spans, kind: str) -> Part:
    """All domains of a kind at once. There is nowhere to restart: what others would offer fails for the same reason."""
    keys = [key for key in cluster.touched() if key[0] == kind]
    members = frozenset(i for i, one in enumerate(cluster.members) if any(key in one.domains for key in keys))
    per_year = max(
        end.of(rates.of_domain(Quantity.COMMON_CAUSE, *key))
        * end.of(rates.of_domain(Quantity.FAILURES, *key))
        for key in keys
    )
    repair_h = max(end.of(rates.of_domain(Quantity.REPAIR, *key)) for key in keys)
    return Part(
        cause=f"all {plural(kind)} at once, from one common cause",
        failures_per_h=per_year / HOURS_A_YEAR,
        stages=_stages(repair_h + spans.machine + spans.service, members, leader_h=spans.leader),
    )


def _planned(cluster: Cluster, rates: Rates, end: End, spans: _Spans) -> Iterator[Part]:
    # Announced: nothing has to be detected, and the leader is replaced at once.
    for (kind, name), members in cluster.touched().items():
        if kind == "host":
            yield Part(
                cause="planned restarts of hosts that stop the member",
                failures_per_h=end.of(rates.of_domain(Quantity.PLANNED, kind, name)) / HOURS_A_YEAR,
                stages=_stages(spans.machine + spans.service, frozenset(members), leader_h=spans.take_over),
            )


def _own(cluster: Cluster, rates: Rates, end: End, spans: _Spans) -> Iterator[Part]:
    several = len(cluster.members) > 1
    for about, restart_h in (("machine", spans.machine + spans.service), ("service", spans.service)):
        per_h = end.of(rates.get(Quantity.FAILURES, about)) / HOURS_A_YEAR
        common = rates.get(Quantity.COMMON_CAUSE, about)
        alone = 1 - end.other.of(common) if several else 1.0
        down_h = spans.detection + restart_h
        for number in range(len(cluster.members)):
            yield Part(
                cause=f"a member's {about}",
                failures_per_h=alone * per_h,
                stages=_stages(down_h, frozenset({number}), leader_h=spans.leader),
            )
        if several:
            yield Part(
                cause=f"all members' {about}s at once, from one common cause",
                failures_per_h=end.of(common) * per_h,
                stages=_stages(down_h, frozenset(range(len(cluster.members))), leader_h=spans.leader),
            )


def _stages(
    down_h: float,
    members: frozenset[int],
    *,
    leader_h: float,
    restart_h: float = 0.0,
    outlive: frozenset[int] = frozenset(),
) -> tuple[Stage, ...]:
    """The stages of an outage. Nobody waits for a restart elsewhere that takes longer than the repair."""
    restart_h = min(restart_h, down_h) if outlive else down_h
    ends = sorted({hours for hours in (min(leader_h, down_h), restart_h, down_h) if hours > 0})
    stages: list[Stage] = []
    for until_h in ends:
        down = members if until_h <= restart_h else members - outlive
        if down:
            stages.append(Stage(until_h=until_h, down=down, leaderless=until_h <= leader_h))
    return tuple(stages)


def domain_cause(cluster: Cluster, key: DomainKey, members: Iterable[int]) -> str:
    """What the failure of a domain is counted under: itself where it takes several members, else its kind."""
    kind, name = key
    taken = tuple(members)
    if len(taken) > 1:
        return f"{kind} {name}, under {cluster.names(taken)}"
    return f"{plural(kind)} under one member each"


def plural(kind: str) -> str:
    """A kind of domain in the plural. Example: plural("switch") == "switches" """
    return kind + ("es" if kind.endswith(("ch", "sh", "s", "x")) else "s")


def _many(touched: Iterable[DomainKey], kind: str) -> bool:
    return sum(key[0] == kind for key in touched) > 1
