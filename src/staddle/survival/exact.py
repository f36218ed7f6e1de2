"""The share of time in which a cluster does not serve, exactly: by conditioning on the parts that members share.

1. Parts that touch several members are gone through one after another; states in which the same members are down are one
   state. What is left is a list of conditions with their shares of the time.
2. Under each condition the members are independent. How many with data are up, how many votes, and who leads is counted
   member by member: k of n with unequal members.

Conditions of next to no time are dropped where there are very many; ``left_out`` says for how much time they stand.
Bad states are summed, never subtracted from 1, so that a minute in a thousand years keeps its digits.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

from staddle.survival.cluster import Cluster
from staddle.survival.parts import Part

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

__all__ = ["MOST_CONDITIONS", "Exact", "exact_share"]

MOST_CONDITIONS: Final = (500, 4_000, 32_000)
"""Conditions that are kept at a time; more are tried while too much is left out."""

_WIDEST: Final = 62  # members and leaders that one whole number of 64 bits can mark
_NEGLIGIBLE: Final = 1e-6  # of the result: more than that left out, and it is not called exact
_NOBODY, _LED = 0, 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Exact:
    """The share; the time that was left out, of which nothing is known, comes on top at most."""

    share: float
    left_out: float
    conditions: int


def exact_share(
    cluster: Cluster, parts: Sequence[Part], *, most: Sequence[int] = MOST_CONDITIONS
) -> Exact | None:
    """The share of time in which the cluster does not serve; None where it is too large for this.

    Args: most: conditions that are kept at a time, tried in this order.
    """
    order = cluster.leading_order()
    if len(cluster.members) + len(order) > _WIDEST:
        return None
    shared = [part for part in parts if len(part.members()) > 1]
    private = [part for part in parts if len(part.members()) == 1]
    for kept in most:
        marks, weights, left_out = _conditions(cluster, shared, kept)
        share = float((weights * _not_serving(cluster, private, marks)).sum())
        if left_out <= _NEGLIGIBLE * share:
            return Exact(share=share, left_out=left_out, conditions=len(weights))
    return None


def _conditions(
    cluster: Cluster, shared: Sequence[Part], most: int
) -> tuple["NDArray[np.int64]", "NDArray[np.float64]", float]:
    """Which members are down and which leaders have no successor yet, as bits; and the share of time of each."""
    import numpy as np  # a tenth of a second, and only these sums need it
    from numpy.typing import NDArray

    marks: NDArray[np.int64] = np.zeros(1, dtype=np.int64)
    weights: NDArray[np.float64] = np.ones(1, dtype=np.float64)
    left_out = 0.0
    for part in shared:
        shares = part.shares()
        states = [(0, 1 - sum(shares))]
        states += [
            (_mark(cluster, stage.down, stage.leaderless), share)
            for stage, share in zip(part.stages, shares, strict=True)
        ]
        every = np.concatenate([marks | mark for mark, _ in states])
        spread = np.concatenate([weights * share for _, share in states])
        marks, place = np.unique(every, return_inverse=True)
        weights = np.zeros(len(marks))
        np.add.at(weights, place.reshape(-1), spread)
        if len(marks) > most:
            kept = np.sort(np.argsort(weights, kind="stable")[-most:])
            left_out += float(np.delete(weights, kept).sum())
            marks, weights = marks[kept], weights[kept]
    return marks, weights, left_out


def _mark(cluster: Cluster, down: frozenset[int], leaderless: bool) -> int:
    leaders = cluster.leading_order()
    marked = sum(1 << member for member in down)
    if leaderless:
        marked |= sum(1 << len(cluster.members) + at for at, member in enumerate(leaders) if member in down)
    return marked


def _not_serving(
    cluster: Cluster, private: Sequence[Part], marks: "NDArray[np.int64]"
) -> "NDArray[np.float64]":
    """For each condition: the share of it in which the cluster does not serve."""
    import numpy as np

    order = cluster.leading_order()
    need_data, need_votes = cluster.data_needed, cluster.votes_needed
    # counts[condition, led, data up, votes up]; the last of each count stands for that many or more.
    counts = np.zeros((len(marks), 2, need_data + 1, need_votes + 1))
    counts[:, _NOBODY if order else _LED, 0, 0] = 1
    lost = np.zeros(len(marks))
    for number in (*order, *(i for i in range(len(cluster.members)) if i not in order)):
        one = cluster.members[number]
        up_alone, replaced_alone = _alone(private, number)
        is_down = (marks >> number & 1).astype(bool)
        up = np.where(is_down, 0.0, up_alone)
        fresh = _risen(counts, data=one.data, votes=one.votes)
        if number in order:
            is_replaced = (marks >> len(cluster.members) + order.index(number) & 1).astype(bool)
            replaced = np.where(is_replaced, 1.0, replaced_alone)
            # Until its successor has taken over nobody leads, unless somebody before it in the order does.
            lost += replaced * counts[:, _NOBODY].sum(axis=(1, 2))
            falls = counts.copy()
            falls[:, _NOBODY] *= _wide(np.clip(1 - up - replaced, 0, None), 2)
            falls[:, _LED] *= _wide(1 - up, 2)
            rises = fresh * _wide(up, 3)
            rises[:, _LED] += rises[:, _NOBODY]
            rises[:, _NOBODY] = 0
            counts = falls + rises
        else:
            counts = counts * _wide(1 - up, 3) + fresh * _wide(up, 3)
    bad = counts.copy()
    bad[:, _LED, need_data, need_votes] = 0
    return np.asarray(lost + bad.sum(axis=(1, 2, 3)), np.float64)


def _alone(private: Sequence[Part], number: int) -> tuple[float, float]:
    """A member by its own parts: the share of time in which it is up, and in which it is being replaced as leader."""
    up = steady = 1.0
    for part in private:
        if number in part.members():
            shares = part.shares()
            up *= 1 - sum(shares)
            steady *= 1 - sum(
                share for stage, share in zip(part.stages, shares, strict=True) if stage.leaderless
            )
    return up, 1 - steady


def _risen(counts: Any, *, data: bool, votes: bool) -> Any:  # noqa: ANN401  an array, known at run time only
    """The counts with one more member up."""
    risen = counts.copy()
    for axis, counted in ((2, data), (3, votes)):
        if counted and risen.shape[axis] > 1:
            moved = risen.swapaxes(axis, 3)
            shifted = moved.copy()
            shifted[..., 0] = 0
            shifted[..., 1:] = moved[..., :-1]
            shifted[..., -1] += moved[..., -1]
            risen = shifted.swapaxes(axis, 3)
    return risen


def _wide(values: Any, axes: int) -> Any:  # noqa: ANN401  as above
    """One value a condition, to be multiplied with its counts."""
    return values.reshape(-1, *([1] * axes))
