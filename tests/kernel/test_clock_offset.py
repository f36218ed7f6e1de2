"""Clock offsets by RFC 5905 §8."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.kernel.clock_offset import clock_offset

START = datetime(2026, 12, 5, 20, 0, tzinfo=UTC)
MS = timedelta(milliseconds=1)


def test_the_worked_example() -> None:
    # check value g5, by hand from RFC 5905 §8: T1 10.000, T2 10.070, T3 10.075, T4 10.045
    found = clock_offset(
        sent=START + 10_000 * MS,
        received=START + 10_070 * MS,
        answered=START + 10_075 * MS,
        arrived=START + 10_045 * MS,
    )
    assert (found.offset, found.delay) == (50 * MS, 40 * MS)
    assert found.offset_ms == pytest.approx(50)
    assert found.error_bound == 20 * MS


WAYS = st.integers(0, 10_000)


@given(true_ms=st.integers(-(10**8), 10**8), there_ms=WAYS, work_ms=WAYS, back_ms=WAYS)
def test_the_true_offset_lies_within_the_bound(
    true_ms: int, there_ms: int, work_ms: int, back_ms: int
) -> None:
    found = clock_offset(
        sent=START,
        received=START + (there_ms + true_ms) * MS,
        answered=START + (there_ms + work_ms + true_ms) * MS,
        arrived=START + (there_ms + work_ms + back_ms) * MS,
    )
    assert found.delay == (there_ms + back_ms) * MS
    assert abs(found.offset - true_ms * MS) <= found.error_bound
    # RFC 5905 (check value g5): ways that differ by d make an error of d/2
    assert found.offset - true_ms * MS == (there_ms - back_ms) * MS / 2


@given(ahead_ms=st.integers(-(10**6), 10**6))
def test_the_sign_is_positive_when_the_other_clock_is_ahead(ahead_ms: int) -> None:
    other = START + ahead_ms * MS
    assert clock_offset(sent=START, received=other, answered=other, arrived=START).offset == ahead_ms * MS
