"""The availability of a cluster: a range, the causes of its outages in their order, and what one improvement brings.

The low end comes from the pessimistic end of every rate, the high end from the optimistic one. Every share is monotone in
every rate, so nothing between the ends gives more or less. A single figure is told only where every rate that counts was
measured as a single value. What is exact and what was simulated is said.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from staddle.kernel import Random
from staddle.survival.cluster import Cluster
from staddle.survival.exact import exact_share
from staddle.survival.formulas import minutes_down
from staddle.survival.parts import End, Part, parts_of
from staddle.survival.rates import Origin, Quantity, Rate, Rates
from staddle.survival.simulated import simulated_share
from staddle.survival.whatif import all_on_one_host, as_far_apart, improvements

__all__ = ["Availability", "Cause", "Improvement", "Share", "availability_of", "rates_used"]

TAKE_OVER_CAUSE = "noticing that the leader is lost, and taking over"


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share of time in which the cluster does not serve: ``best`` to ``worst``, each with what it was computed by.

    ``simulated`` tells whether an end is the outer end of a 95 % interval of a simulation, not an exact sum.
    """

    best: float
    worst: float
    simulated: bool = False

    @classmethod
    def single(cls, share: float) -> "Share":
        """A share without a range."""
        return cls(best=share, worst=share)

    @property
    def availability(self) -> tuple[float, float]:
        """The availability, low to high."""
        return 1 - self.worst, 1 - self.best

    @property
    def minutes(self) -> tuple[float, float]:
        """Minutes down in a year of 365 days, few to many."""
        return minutes_down(self.best), minutes_down(self.worst)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One cause, with the minutes a year that would not be down if it never came, at both ends of the rates."""

    what: str
    minutes_low: float
    minutes_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Improvement:
    """One improvement, with the minutes a year that it takes away at both ends of the rates; below 0 it makes it worse."""

    what: str
    minutes_low: float
    minutes_high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """The whole answer.

    ``figure`` is the share down from measured single values, None where a rate is not measured. ``causes`` and
    ``improvements`` have the largest first; causes overlap, since an outage may need two of them, and need not add up.
    ``on_one_host`` and ``apart`` are the same cluster with all members on one host, and as far apart as there are domains.
    """

    cluster: Cluster
    share: Share
    figure: float | None
    causes: tuple[Cause, ...]
    improvements: tuple[Improvement, ...]
    on_one_host: Share
    apart: Share
    rates: tuple[Rate, ...]


class _Solver:
    """Shares of time, exact where that is possible. Chance begins alike for every question: differences are not noise alone."""

    def __init__(self, random: Random) -> None:
        self._start = random.token(16)

    def one(self, cluster: Cluster, parts: Sequence[Part]) -> tuple[float, float, bool]:
        """The share, or the two ends of its interval, and whether it was simulated."""
        found = exact_share(cluster, parts)
        if found is not None:
            return found.share, found.share + found.left_out, False
        simulated = simulated_share(cluster, parts, start=self._start)
        return simulated.low, simulated.high, True

    def both(self, cluster: Cluster, rates: Rates) -> Share:
        best, _, first = self.one(cluster, parts_of(cluster, rates, End.OPTIMISTIC))
        _, worst, second = self.one(cluster, parts_of(cluster, rates, End.PESSIMISTIC))
        return Share(best=best, worst=worst, simulated=first or second)


def availability_of(
    cluster: Cluster, rates: Rates, *, there_are: Mapping[str, int], random: Random
) -> Availability:
    """The availability of a cluster.

    Args: there_are: how many domains of each kind the estate has for members; random: begins simulations, where needed.
    Raises: InputRefused: a rate is missing.
    """
    solver = _Solver(random)
    share = solver.both(cluster, rates)
    used = rates_used(cluster, rates)
    figure = None
    if all(row.origin is Origin.MEASURED and (row.point is not None or row.low == row.high) for row in used):
        low, high, _ = solver.one(cluster, parts_of(cluster, rates, End.MEASURED))
        figure = (low + high) / 2
    return Availability(
        cluster=cluster,
        share=share,
        figure=figure,
        # The noise of a simulation is larger than most of these differences.
        causes=() if share.simulated else _causes(solver, cluster, rates, share),
        improvements=() if share.simulated else _improvements(solver, cluster, rates, there_are, share),
        on_one_host=solver.both(all_on_one_host(cluster), rates),
        apart=solver.both(as_far_apart(cluster, there_are), rates),
        rates=used,
    )


def rates_used(cluster: Cluster, rates: Rates) -> tuple[Rate, ...]:
    """Every rate that the sums for this cluster look up, once, in the order of the cluster's domains."""
    found: dict[tuple[Quantity, str], Rate] = {}

    def use(row: Rate) -> None:
        found.setdefault((row.quantity, row.about), row)

    touched = cluster.touched()
    for kind, name in touched:
        for quantity in (Quantity.FAILURES, Quantity.REPAIR):
            use(rates.of_domain(quantity, kind, name))
        if sum(key[0] == kind for key in touched) > 1:
            use(rates.of_domain(Quantity.COMMON_CAUSE, kind, name))
        if kind == "host":
            use(rates.of_domain(Quantity.PLANNED, kind, name))
    for about in ("machine", "service"):
        use(rates.get(Quantity.FAILURES, about))
        use(rates.get(Quantity.RESTART, about))
        if len(cluster.members) > 1:
            use(rates.get(Quantity.COMMON_CAUSE, about))
    use(rates.get(Quantity.DETECTION, ""))
    use(rates.get(Quantity.TAKE_OVER, ""))
    return tuple(found.values())


def _causes(solver: _Solver, cluster: Cluster, rates: Rates, share: Share) -> tuple[Cause, ...]:
    parts = {end: parts_of(cluster, rates, end) for end in (End.OPTIMISTIC, End.PESSIMISTIC)}
    names = dict.fromkeys(part.cause for part in parts[End.PESSIMISTIC])
    found = []
    for name in names:
        best, worst = (
            solver.one(cluster, [part for part in parts[end] if part.cause != name])
            for end in (End.OPTIMISTIC, End.PESSIMISTIC)
        )
        found.append(Cause(what=name, **_taken(share, best[0], worst[1])))
    if len(cluster.leading_order()) > 0:
        best, worst = (
            solver.one(cluster, tuple(_never_leaderless(parts[end])))
            for end in (End.OPTIMISTIC, End.PESSIMISTIC)
        )
        found.append(Cause(what=TAKE_OVER_CAUSE, **_taken(share, best[0], worst[1])))
    return tuple(sorted(found, key=lambda cause: (-cause.minutes_high, -cause.minutes_low, cause.what)))


def _never_leaderless(parts: Sequence[Part]) -> Iterator[Part]:
    for part in parts:
        yield replace(part, stages=tuple(replace(stage, leaderless=False) for stage in part.stages))


def _improvements(
    solver: _Solver, cluster: Cluster, rates: Rates, there_are: Mapping[str, int], share: Share
) -> tuple[Improvement, ...]:
    found = []
    for one in improvements(cluster, rates, there_are):
        after = solver.both(one.cluster, one.rates)
        found.append(Improvement(what=one.title, **_taken(share, after.best, after.worst)))
    return tuple(sorted(found, key=lambda one: (-one.minutes_high, -one.minutes_low, one.what)))


def _taken(share: Share, best: float, worst: float) -> dict[str, float]:
    """Minutes taken away at the optimistic and at the pessimistic end, few to many."""
    ends = sorted((minutes_down(share.best - best), minutes_down(share.worst - worst)))
    return {"minutes_low": ends[0], "minutes_high": ends[1]}
