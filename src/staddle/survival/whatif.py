"""What one improvement would change: a cluster or rates that differ in one thing. Not here: what it brings (availability.py).

Each is a thing that people can do: a further domain, members apart, a faster repair, a deputy, one more member.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

from staddle.survival.cluster import Cluster, Standing
from staddle.survival.parts import plural
from staddle.survival.rates import Quantity, Rate, Rates, hours_text

__all__ = ["WhatIf", "all_on_one_host", "as_far_apart", "improvements"]

_ORDINALS: Final = (
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatIf:
    """One changed thing, with the cluster and the rates as they are then."""

    title: str
    cluster: Cluster
    rates: Rates


def all_on_one_host(cluster: Cluster) -> Cluster:
    """Every member where the first one stands."""
    first = cluster.members[0]
    return replace(
        cluster,
        members=tuple(
            replace(one, domains=first.domains, outlives=first.outlives) for one in cluster.members
        ),
    )


def as_far_apart(cluster: Cluster, there_are: Mapping[str, int]) -> Cluster:
    """Every member in domains of its own, kind by kind, as far as there are enough; else evenly over those there are.

    Args: there_are: how many domains of each kind members could stand in; a kind that is missing has one.
    """
    for kind in cluster.kinds():
        count = max(there_are.get(kind, 1), len(_of_kind(cluster, kind)))
        cluster = cluster.with_domains(kind, _spread(cluster, kind, count))
    return cluster


def improvements(cluster: Cluster, rates: Rates, there_are: Mapping[str, int]) -> tuple[WhatIf, ...]:
    """Everything that is worth a sum, in no order of worth. Args: there_are: as of as_far_apart."""
    return (
        *_domains(cluster, rates, there_are),
        *_members(cluster, rates),
        *_faster(cluster, rates),
    )


def _domains(cluster: Cluster, rates: Rates, there_are: Mapping[str, int]) -> Iterator[WhatIf]:
    touched = cluster.touched()
    for kind in cluster.kinds():
        if not any(len(members) > 1 for (k, _), members in touched.items() if k == kind):
            continue
        names = _of_kind(cluster, kind)
        on_estate = max(there_are.get(kind, 1), len(names))
        stand = sum(any(k == kind for k, _ in one.domains) for one in cluster.members)
        if on_estate > len(names):
            over = min(on_estate, stand)
            yield _spread_over(
                cluster, rates, kind, over, f"members over {over} {plural(kind)}, which the estate has"
            )
        else:
            yield _spread_over(cluster, rates, kind, on_estate + 1, f"a {_ordinal(on_estate + 1)} {kind}")
        if max(on_estate, len(names) + 1) < stand:
            yield _spread_over(cluster, rates, kind, stand, f"{stand} {plural(kind)}, one for each member")


def _spread_over(cluster: Cluster, rates: Rates, kind: str, count: int, title: str) -> WhatIf:
    return WhatIf(title=title, cluster=cluster.with_domains(kind, _spread(cluster, kind, count)), rates=rates)


def _members(cluster: Cluster, rates: Rates) -> Iterator[WhatIf]:
    order = cluster.leading_order()
    if len(order) == 1 and len(cluster.members) > 1:
        able = next((i for i, one in enumerate(cluster.members) if i not in order and one.data), None)
        if able is not None:
            yield WhatIf(
                title=f"{cluster.members[able].member} as deputy",
                cluster=replace(cluster, members=_changed(cluster, able, leads="second")),
                rates=rates,
            )
    # One vote more than an odd number lets no further member be lost.
    two = sum(one.votes for one in cluster.members) % 2 == 1
    further = _one_more(cluster, "a further member")
    yield WhatIf(
        title=f"{'two members' if two else 'one member'} more, apart as the others are",
        cluster=_one_more(further, "a second further member") if two else further,
        rates=rates,
    )
    stuck = [
        i for i, one in enumerate(cluster.members) if not any(kind == "host" for kind, _ in one.outlives)
    ]
    if stuck:
        members = list(cluster.members)
        for i in stuck:
            hosts = frozenset(key for key in members[i].domains if key[0] == "host")
            members[i] = replace(members[i], outlives=members[i].outlives | hosts)
        yield WhatIf(
            title=f"room and pools for a restart of {cluster.names(tuple(stuck))} on another host",
            cluster=replace(cluster, members=tuple(members)),
            rates=rates,
        )


def _faster(cluster: Cluster, rates: Rates) -> Iterator[WhatIf]:
    """The good end of a range, held: what a contract, spares or practice would bring."""
    for kind in cluster.kinds():
        rows = {rates.of_domain(Quantity.REPAIR, *key) for key in cluster.touched() if key[0] == kind}
        yield from _held(cluster, rates, rows, f"{plural(kind)} repaired within")
    yield from _held(cluster, rates, {rates.get(Quantity.DETECTION, "")}, "a lost member noticed within")
    yield from _held(cluster, rates, {rates.get(Quantity.RESTART, "machine")}, "machines restarted within")
    yield from _held(cluster, rates, {rates.get(Quantity.RESTART, "service")}, "the service restarted within")
    planned = {rates.of_domain(Quantity.PLANNED, *key) for key in cluster.touched() if key[0] == "host"}
    if any(row.high > 0 for row in planned):
        none = [replace(row, low=0, high=0, point=None) for row in planned]
        yield WhatIf(
            title="members moved away before a planned restart of their host",
            cluster=cluster,
            rates=rates.with_rows(none),
        )


def _held(cluster: Cluster, rates: Rates, rows: set[Rate], title: str) -> Iterator[WhatIf]:
    worse = [row for row in rows if row.high > row.low]
    if worse:
        best, worst = max(row.low for row in worse), max(row.high for row in worse)
        yield WhatIf(
            title=f"{title} {hours_text(best)} instead of {hours_text(worst)}",
            cluster=cluster,
            rates=rates.with_rows(replace(row, high=row.low, point=None) for row in worse),
        )


def _one_more(cluster: Cluster, name: str) -> Cluster:
    """A member like the last that holds data, in fresh domains of each kind in which no two members share one."""
    like = [one for one in cluster.members if one.data][-1:] or [cluster.members[-1]]
    shared = {key for key, members in cluster.touched().items() if len(members) > 1}
    kinds_shared = {kind for kind, _ in shared}
    # In a kind that members share the new one joins the domain of the fewest.
    domains = []
    for kind in dict.fromkeys(kind for kind, _ in like[0].domains):
        if kind not in kinds_shared:
            domains.append((kind, f"{kind} of {name}"))
        else:
            counts = {key: len(members) for key, members in cluster.touched().items() if key[0] == kind}
            domains.append(min(counts, key=lambda key: counts[key]))
    kinds_outlived = {kind for kind, _ in like[0].outlives}
    fresh = Standing(
        member=name,
        domains=tuple(domains),
        outlives=frozenset(key for key in domains if key[0] in kinds_outlived),
        data=like[0].data,
        votes=like[0].votes,
    )
    return replace(cluster, members=(*cluster.members, fresh))


def _changed(cluster: Cluster, number: int, *, leads: str) -> tuple[Standing, ...]:
    return tuple(replace(one, leads=leads) if i == number else one for i, one in enumerate(cluster.members))


def _of_kind(cluster: Cluster, kind: str) -> tuple[str, ...]:
    return tuple(name for k, name in cluster.touched() if k == kind)


def _spread(cluster: Cluster, kind: str, count: int) -> tuple[tuple[str, ...], ...]:
    """For each member its domains of a kind, evenly over so many; as many as it has now, and none where it has none.

    Members keep what they have as long as it is not fuller than it needs to be.
    """
    own = [tuple(name for k, name in one.domains if k == kind) for one in cluster.members]
    names = list(_of_kind(cluster, kind))
    names += [f"{kind} {n}, not there yet" for n in range(len(names) + 1, count + 1)]
    most = -(-sum(map(len, own)) // len(names))
    taken: dict[str, int] = dict.fromkeys(names, 0)
    given: list[list[str]] = [[] for _ in own]
    for mine, have in zip(given, own, strict=True):
        for name in have:
            if taken[name] < most:
                taken[name] += 1
                mine.append(name)
    for mine, have in zip(given, own, strict=True):
        while len(mine) < len(have):
            least = min((name for name in names if name not in mine), key=lambda name: taken[name])
            taken[least] += 1
            mine.append(least)
    return tuple(map(tuple, given))


def _ordinal(number: int) -> str:
    return _ORDINALS[number - 1] if number <= len(_ORDINALS) else f"{number}th"
