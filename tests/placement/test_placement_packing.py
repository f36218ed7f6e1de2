"""Bin packing with known optima, asked as a placement without any other rule: an item is a member's memory.

Instances and optima of f3: BPPLIB (Delorme, Iori & Martello 2018); the optimum of N1C1W1_B is its bound L2.
"""

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.placement.bounds import cannot_fit
from staddle.placement.model import BestShown, GoodWithBound, NoneExists, NotFoundInTime, Outcome
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import bins

# Dósa 2007, the extremal instance of first-fit decreasing: optimum 9 bins of 100, first-fit decreasing takes 11.
DOSA = [51] * 6 + [27] * 6 + [26] * 6 + [23] * 12
# Martello & Toth: bound L2 is 4 where the sum alone gives 3.
MARTELLO_TOTH = [70, 60, 50, 33, 33, 33, 11, 7, 3]


def counted(text: str) -> list[int]:
    """Items from "98×3 94 …"."""
    pairs = (word.partition("×") for word in text.split())
    return [int(item) for item, _, count in pairs for _ in range(int(count or 1))]


N1C1W1_B = counted(
    "100 99 97×3 93×2 92×2 88 83×2 79 76×2 75 72 71 70 69 67 66 63 62×2 61×2 51 50 44×2 43×2 40 39 37×2 30 23 20 19 "
    "18 17 15 14 13×2 12 8×2"
)
U120_00 = counted(
    "98×3 96×2 94 93×2 92 91×2 90 87 86 85×2 84×5 83×2 82×2 81 80×3 79×2 78×4 76 74×2 73×4 72 71 70×3 69×3 67 66 64 "
    "62×2 60×2 59 58×3 57×4 55×3 50 49×3 47 46×2 45×2 44×2 43×4 42×5 41×3 39×2 38×3 37 36×3 35 33×3 32×2 30×3 29 28 "
    "27×2 26 25×2 24 23×2 20"
)
T60_00 = counted(
    "495 474 473 472 466 450 445 444 439 430 419 414 410 395 372 370 366×3 363 361 357 355 351 350×2 347 320 315 307 "
    "303 299 298×2 292 288 287 283 275×2 274 273×2 272×2 271 269×2 268 263 262 261 259 258 255 254 252×3 251"
)


def test_instances_are_whole() -> None:
    # Numbers of items in the sets' own names and headers; sum of Dósa's instance 9 × 100.
    assert (len(N1C1W1_B), len(U120_00), len(T60_00), sum(DOSA)) == (50, 120, 60, 900)


@pytest.mark.parametrize(
    ("items", "capacity", "optimum", "limit_s"),
    [
        pytest.param(DOSA, 100, 9, 5.0, id="Dósa 2007"),
        pytest.param(MARTELLO_TOTH, 100, 4, 5.0, id="Martello & Toth L2"),
        pytest.param(N1C1W1_B, 100, 31, 2.0, id="Scholl N1C1W1_B"),
        pytest.param(U120_00, 150, 48, 6.0, id="Falkenauer u120_00"),
    ],
)
def test_optimum_is_reached_and_one_bin_less_is_proven_impossible(
    items: list[int], capacity: int, optimum: int, limit_s: float
) -> None:
    problem = bins(items, capacity, optimum)
    outcome = solve(problem, deterministic_limit_s=limit_s)
    assert isinstance(outcome, BestShown | GoodWithBound)
    assert len(outcome.placement.seats) == len(items)
    assert not broken_rules(problem, outcome.placement.seats)

    impossible = solve(bins(items, capacity, optimum - 1), deterministic_limit_s=1.0)
    assert isinstance(impossible, NoneExists)
    assert [rule.name for rule in impossible.conflict] == ["memory"]
    assert impossible.irreducible


def test_triplets_without_any_slack_are_never_answered_wrongly() -> None:
    # Falkenauer t60_00: 20 bins of 1000 are possible and full to the last unit.
    outcome: Outcome = solve(bins(T60_00, 1000, 20), deterministic_limit_s=1.0)
    assert isinstance(outcome, NotFoundInTime | GoodWithBound | BestShown)
    assert isinstance(solve(bins(T60_00, 1000, 19), deterministic_limit_s=1.0), NoneExists)


@pytest.mark.parametrize(
    ("items", "capacity", "l2"),
    # check values f1–f3: L2 of each; recomputed there with independent code
    [(DOSA, 100, 9), (MARTELLO_TOTH, 100, 4), (N1C1W1_B, 100, 31), (U120_00, 150, 48), (T60_00, 1000, 20)],
)
def test_bound_by_counting_equals_l2(items: list[int], capacity: int, l2: int) -> None:
    assert cannot_fit(items, [capacity] * (l2 - 1))
    assert not cannot_fit(items, [capacity] * l2)


@settings(max_examples=150, deadline=None)
@given(
    needs=st.lists(st.integers(0, 12), min_size=1, max_size=6),
    rooms=st.lists(st.integers(0, 20), min_size=1, max_size=4),
)
def test_bound_never_refutes_what_fits(needs: list[int], rooms: list[int]) -> None:
    fits = any(
        all(
            sum(need for need, at in zip(needs, places, strict=True) if at == room) <= size
            for room, size in enumerate(rooms)
        )
        for places in product(range(len(rooms)), repeat=len(needs))
    )
    assert not (fits and cannot_fit(needs, rooms))
