"""Small clusters for the tests of availability, drawn by hypothesis, and the stupid sum that they are compared with."""

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

from hypothesis import strategies as st

from staddle.survival.cluster import Cluster, Standing
from staddle.survival.parts import Part
from staddle.survival.rates import Quantity, Rate, Rates, starting_rates

KINDS = ("host", "rack", "feed", "pool")


@st.composite
def clusters(draw: st.DrawFn, *, most: int = 4, least: int = 1) -> Cluster:
    """Members on few domains of four kinds, with any data, votes and leaders; at least one holds data."""
    count = draw(st.integers(least, most))
    members = []
    for number in range(count):
        domains = tuple(
            (kind, f"{kind[0]}{at}") for kind in KINDS if (at := draw(st.integers(0, 3))) or kind == "host"
        )
        outlives = frozenset(key for key in domains if key[0] != "pool" and draw(st.booleans()))
        members.append(
            Standing(
                member=f"m{number}",
                domains=domains,
                outlives=outlives,
                data=number == 0 or draw(st.booleans()),
                votes=draw(st.booleans()),
                leads=draw(st.sampled_from(["first", "second", "never"])),
            )
        )
    holding = sum(one.data for one in members)
    return Cluster(members=tuple(members), data_needed=draw(st.integers(0, holding)))


@st.composite
def rates(draw: st.DrawFn) -> Rates:
    """Any ranges, up to outages that are as common as running."""
    rows: list[Rate] = []
    top = {"a year": 3000.0, "h": 20.0, "share": 1.0}
    for row in starting_rates().rows.values():
        ends = sorted(draw(st.floats(0, top[row.quantity.unit])) for _ in range(2))
        rows.append(replace(row, low=ends[0], high=ends[1]))
    return Rates().with_rows(rows)


def serves(cluster: Cluster, down: Sequence[bool], replaced: Sequence[bool]) -> bool:
    """The rule in words, written a second time: enough data, more than half of the votes, and somebody leads."""
    data = sum(not lost for one, lost in zip(cluster.members, down, strict=True) if one.data)
    votes = [not lost for one, lost in zip(cluster.members, down, strict=True) if one.votes]
    if data < cluster.data_needed or (votes and 2 * sum(votes) <= len(votes)):
        return False
    leaders = [i for i, one in enumerate(cluster.members) if one.leads == "first"]
    leaders += [i for i, one in enumerate(cluster.members) if one.leads == "second"]
    for i in leaders:
        if not down[i]:
            return True
        if replaced[i]:
            return False
    return not leaders


def share_by_brute_force(cluster: Cluster, parts: Sequence[Part]) -> float:
    """Every state of every part, one after the other."""
    choices = [
        [(1 - sum(part.shares()), frozenset[int](), False)]
        + [
            (share, stage.down, stage.leaderless)
            for share, stage in zip(part.shares(), part.stages, strict=True)
        ]
        for part in parts
    ]
    lost = []
    for states in itertools.product(*choices):
        down = [any(i in taken for _, taken, _ in states) for i in range(len(cluster.members))]
        replaced = [
            any(i in taken and fresh for _, taken, fresh in states) for i in range(len(cluster.members))
        ]
        if not serves(cluster, down, replaced):
            lost.append(math.prod(share for share, _, _ in states))
    return math.fsum(lost)


def only(quantities: Sequence[tuple[Quantity, str, float]]) -> Rates:
    """Rates in which nothing fails and nothing lasts but what is said, each as one value."""
    still = [replace(row, low=0.0, high=0.0) for row in starting_rates().rows.values()]
    said = [Rate(quantity=q, about=about, low=value, high=value) for q, about, value in quantities]
    return Rates().with_rows(still).with_rows(said)
