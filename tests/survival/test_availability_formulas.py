"""Closed forms against published values and hand calculation. Values without another source are recomputed sums."""

import math

import pytest

from staddle.survival.formulas import (
    HOURS_A_YEAR,
    failover_share,
    k_of_n,
    minutes_down,
    pair_with_common_cause,
    parallel,
    series,
    share_down,
    steady_state,
)
from staddle.survival.markov import (
    birth_death,
    cold_standby_reliability,
    cold_unavailability,
    hot_unavailability,
    mean_time_to_absorption,
    mttf_k_of_n,
    two_state_availability,
)
from staddle.survival.prooftest import Channel, pfd_1oo1, pfd_1oo2, pfd_2oo3


def test_series_and_parallel_of_the_open_textbook() -> None:
    # HELM workbook 46.1 (open textbook), examples 2 and 3.
    assert series([0.2, 0.3, 0.4]) == pytest.approx(0.024, rel=1e-12)
    assert parallel([0.2, 0.3, 0.4]) == pytest.approx(0.664, rel=1e-12)


def test_steady_state() -> None:
    # 1000 / 1008, and 8/1008 of a year of 8760 h.
    assert steady_state(1000, 8) == pytest.approx(0.992063492, rel=1e-9)
    assert share_down(1 / 1000, 8) * HOURS_A_YEAR == pytest.approx(69.5238095, rel=1e-9)


@pytest.mark.parametrize(
    ("availability", "minutes", "of_365_25"),
    [(0.999, 525.6, 525.96), (0.9999, 52.56, 52.596), (0.99999, 5.256, 5.2596)],
)
def test_minutes_of_the_nines(availability: float, minutes: float, of_365_25: float) -> None:
    assert minutes_down(1 - availability) == pytest.approx(minutes, rel=1e-9)
    assert minutes_down(1 - availability, days=365.25) == pytest.approx(of_365_25, rel=1e-9)


def test_series_of_three() -> None:
    assert series([0.99, 0.999, 0.9999]) == pytest.approx(0.988911099, rel=1e-9)


@pytest.mark.parametrize(
    ("k", "n", "each", "expected"),
    [
        (2, 3, 0.9, 0.972),
        (2, 3, 0.99, 0.999702),
        (2, 3, 0.999, 0.999997002),
        (3, 5, 0.9, 0.99144),
        (3, 5, 0.95, 0.99884187),
        (3, 5, 0.99, 0.99999014940),
        (2, 4, 0.95, 0.99951875),
        (3, 4, 0.99, 0.99940797),
        (5, 6, 0.99, 0.998539552),
        (4, 6, 0.99, 0.999980446),
    ],
)
def test_k_of_n(k: int, n: int, each: float, expected: float) -> None:
    # The binomial sum, e-Handbook ch. 8.1.8.
    assert k_of_n(k, [each] * n) == pytest.approx(expected, rel=1e-8)


def test_k_of_n_with_nothing_needed_is_always_met() -> None:
    assert k_of_n(0, [0.5, 0.1]) == 1
    assert k_of_n(2, [0.5]) == 0


def test_two_units_with_one_or_two_repairers() -> None:
    # λ 0.001, μ 0.1; (λ/(λ+μ))² and 2ρ²/(1+2ρ+2ρ²).
    assert hot_unavailability(2, 0.001, 0.1, repairers=2) == pytest.approx(9.8029605e-5, rel=1e-8)
    # The value is given with eight digits: half of the last one is 2.6e-8 of it.
    assert hot_unavailability(2, 0.001, 0.1, repairers=1) == pytest.approx(1.9603999e-4, rel=2.6e-8)
    rho = 0.01
    assert hot_unavailability(2, 0.001, 0.1, repairers=1) == pytest.approx(
        2 * rho**2 / (1 + 2 * rho + 2 * rho**2), rel=1e-12
    )


def test_cold_standby_with_one_or_two_repairers() -> None:
    assert cold_unavailability(2, 0.001, 0.1, repairers=1) == pytest.approx(9.9000099e-5, rel=1e-7)
    assert cold_unavailability(2, 0.001, 0.1, repairers=2) == pytest.approx(4.9502500e-5, rel=1e-7)


def test_time_to_the_first_loss_of_both() -> None:
    # (3λ+μ)/(2λ²) and (2λ+μ)/λ².
    assert mean_time_to_absorption([0.002, 0.001], [0.1]) == pytest.approx(51_500, rel=1e-12)
    assert mean_time_to_absorption([0.001, 0.001], [0.1]) == pytest.approx(102_000, rel=1e-12)


@pytest.mark.parametrize(
    ("k", "n", "hours"), [(1, 2, 1500), (1, 3, 5500 / 3), (2, 3, 2500 / 3), (3, 5, 783.33333)]
)
def test_time_to_failure_without_repair(k: int, n: int, hours: float) -> None:
    assert mttf_k_of_n(k, n, 0.001) == pytest.approx(hours, rel=1e-6)
    # The same as a chain in which nothing is mended.
    chain = [(n - lost) * 0.001 for lost in range(n - k + 1)]
    assert mean_time_to_absorption(chain, [0.0] * (n - k)) == pytest.approx(hours, rel=1e-6)


def test_time_to_failure_of_a_cold_pair() -> None:
    assert mean_time_to_absorption([0.001, 0.001], [0.0]) == pytest.approx(2000, rel=1e-12)


def test_reliability_at_a_tenth_of_a_mean_life() -> None:
    alone = math.exp(-0.1)
    assert alone == pytest.approx(0.904837418, rel=1e-9)
    assert k_of_n(2, [alone] * 3) == pytest.approx(0.974555818, rel=1e-9)
    assert cold_standby_reliability(2, 0.1) == pytest.approx(0.995321160, rel=1e-9)


def test_two_of_three_equals_one_unit_at_the_median() -> None:
    alone = math.exp(-math.log(2))
    assert k_of_n(2, [alone] * 3) == pytest.approx(alone, rel=1e-12)
    assert k_of_n(2, [math.exp(-0.69)] * 3) > math.exp(-0.69)
    assert k_of_n(2, [math.exp(-0.70)] * 3) < math.exp(-0.70)


def test_the_way_to_the_steady_state() -> None:
    assert two_state_availability(0.001, 0.1, 10) == pytest.approx(0.9937051384, rel=1e-9)
    assert two_state_availability(0.001, 0.1, 0) == 1
    assert two_state_availability(0.001, 0.1, 1e6) == pytest.approx(steady_state(1000, 10), rel=1e-12)


def test_share_of_take_overs() -> None:
    # 12 take-overs of 60 s in a year of 31 536 000 s.
    assert failover_share(3, 4, 60) == pytest.approx(2.28311e-5, rel=1e-5)


@pytest.mark.parametrize(
    ("beta", "expected"), [(0, 0.600424), (0.05, 0.593485), (0.10, 0.586190), (0.20, 0.570460)]
)
def test_pair_with_common_cause(beta: float, expected: float) -> None:
    # The form as in the ReliaLearnR book, ch. 2.
    assert pair_with_common_cause(0.001, 1000, beta) == pytest.approx(expected, rel=1e-6)


# IEC 61508-6 annex B: proof test every 8760 h, 8 h to restore, β_D = β/2, two digits as in its table (equations from
# memory): λ_D per h, coverage, 1oo1, 1oo2 at β 2 % and 10 %, 2oo3 at β 2 % and 10 %.
TABLE = [
    (0.5e-7, 0.0, 2.2e-4, 4.4e-6, 2.2e-5, 4.6e-6, 2.2e-5),
    (2.5e-6, 0.0, 1.1e-2, 3.7e-4, 1.2e-3, 6.8e-4, 1.5e-3),
    (2.5e-6, 0.9, 1.1e-3, 2.4e-5, 1.1e-4, 2.7e-5, 1.2e-4),
    (2.5e-5, 0.0, 1.1e-1, 1.8e-2, 2.4e-2, 4.8e-2, 5.0e-2),
]


@pytest.mark.parametrize("row", TABLE)
def test_table_of_the_standard(row: tuple[float, ...]) -> None:
    channel = Channel(dangerous_per_h=row[0], coverage=row[1])
    computed = (
        pfd_1oo1(channel),
        pfd_1oo2(channel, 0.02),
        pfd_1oo2(channel, 0.10),
        pfd_2oo3(channel, 0.02),
        pfd_2oo3(channel, 0.10),
    )
    assert [f"{value:.1e}" for value in computed] == [f"{value:.1e}" for value in row[2:]]


def test_a_pair_is_about_ten_times_better_with_a_tenth_in_common_however_good_each_is() -> None:
    for dangerous_per_h in (1e-7, 1e-8, 1e-9):
        channel = Channel(dangerous_per_h=dangerous_per_h, coverage=0)
        assert pfd_1oo1(channel) / pfd_1oo2(channel, 0.10) == pytest.approx(10, rel=0.02)


def test_a_chain_in_balance() -> None:
    # Detailed balance by hand: weights 1, 2, 1.
    assert birth_death([2, 1], [1, 2]) == pytest.approx((0.25, 0.5, 0.25))
