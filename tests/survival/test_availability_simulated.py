"""Years lived through against the exact sum: within four standard errors on clusters of every shape; every start is fixed.

Four: one false alarm in about 16 000 (check value: normal distribution). Rates are raised so that few years are enough.
"""

from dataclasses import replace
from random import Random

import pytest

from staddle.survival.cluster import Cluster, Standing
from staddle.survival.exact import exact_share
from staddle.survival.formulas import share_down
from staddle.survival.parts import End, Part, Stage, parts_of
from staddle.survival.rates import Quantity, Rates, Unit, starting_rates
from staddle.survival.simulated import BATCHES, simulated_share

EVENTS = 120_000


def drawn(number: int) -> tuple[Cluster, Rates]:
    """A cluster of 2 to 7 members and rates at which outages are common. The same number gives the same ones."""
    draw = Random(number)
    members = []
    for i in range(draw.randint(2, 7)):
        domains = [
            ("host", f"h{draw.randrange(5)}"),
            ("rack", f"r{draw.randrange(3)}"),
            ("pool", f"p{draw.randrange(3)}"),
        ]
        domains += [("feed", f"f{draw.randrange(2)}")] * draw.randrange(2) + [("site", "s")] * draw.randrange(
            2
        )
        members.append(
            Standing(
                member=f"m{i}",
                domains=tuple(domains),
                outlives=frozenset(
                    key for key in domains if key[0] in ("host", "rack") and draw.random() < 0.6
                ),
                data=i < 2 or draw.random() < 0.7,
                votes=draw.random() < 0.8,
                leads=draw.choice(["first", "second", "never"]),
            )
        )
    rows = []
    for row in starting_rates().rows.values():
        size = {Unit.A_YEAR: 300.0, Unit.HOURS: 4.0, Unit.SHARE: 0.3}[row.quantity.unit]
        rows.append(replace(row, low=0.0, high=size * draw.random()))
    return Cluster(members=tuple(members), data_needed=draw.randint(1, 2)), Rates().with_rows(rows)


@pytest.mark.parametrize("number", range(30))
def test_it_agrees_with_the_exact_share(number: int) -> None:
    cluster, rates = drawn(number)
    parts = parts_of(cluster, rates, End.PESSIMISTIC)
    exact = exact_share(cluster, parts)
    assert exact is not None
    lived = simulated_share(cluster, parts, start=number.to_bytes(2, "big"), most_events=EVENTS)
    assert 0 < lived.standard_error < 0.1 * exact.share
    assert abs(lived.share - exact.share) <= 4 * lived.standard_error
    assert lived.low <= lived.share <= lived.high


def test_it_agrees_at_the_rates_that_people_plan_with() -> None:
    members = tuple(
        Standing(
            member=f"m{i}",
            domains=(("host", f"h{i}"), ("rack", f"r{i}"), ("site", "s"), ("pool", f"p{i}")),
            outlives=frozenset({("host", f"h{i}")}),
            leads=("first", "second", "never")[i],
        )
        for i in range(3)
    )
    cluster = Cluster(members=members)
    parts = parts_of(cluster, starting_rates(), End.PESSIMISTIC)
    exact = exact_share(cluster, parts)
    assert exact is not None
    lived = simulated_share(cluster, parts, start=b"planned", most_events=600_000)
    assert abs(lived.share - exact.share) <= 4 * lived.standard_error


def test_a_wrong_share_is_seen() -> None:
    cluster, rates = drawn(3)
    parts = parts_of(cluster, rates, End.PESSIMISTIC)
    exact = exact_share(cluster, [part for part in parts if not part.cause.startswith("pool")])
    assert exact is not None
    lived = simulated_share(cluster, parts, start=b"three", most_events=EVENTS)
    assert abs(lived.share - exact.share) > 4 * lived.standard_error


def test_the_same_start_gives_the_same_answer() -> None:
    cluster, rates = drawn(5)
    parts = parts_of(cluster, rates, End.PESSIMISTIC)
    first, again, other = (
        simulated_share(cluster, parts, start=start, most_events=20_000) for start in (b"a", b"a", b"b")
    )
    assert first == again
    assert first != other


def test_where_no_outage_was_seen_the_end_is_not_nought() -> None:
    # "Rule of three": 3 outages could have been expected in the time that was lived through.
    cluster = Cluster(members=(Standing(member="m", domains=(("host", "h"),)),), data_needed=0)
    cluster = replace(cluster, members=tuple(replace(one, votes=False) for one in cluster.members))
    part = Part(cause="host", failures_per_h=0.01, stages=(Stage(until_h=2, down=frozenset({0})),))
    lived = simulated_share(cluster, [part], start=b"none", most_events=4_000)
    assert lived.share == 0
    hours = lived.years * 8760
    assert lived.high == pytest.approx(3 * 2 / hours)
    assert hours == pytest.approx(4_000 / (2 * 0.01))


def test_the_interval_of_one_unit_covers_its_share_as_often_as_it_says() -> None:
    # 100 intervals of 95 %: the count that covers is binomial, 95 ± 2.2, so 4 sigma is 86.3.
    cluster = Cluster(members=(Standing(member="m", domains=(("host", "h"),)),))
    part = Part(cause="host", failures_per_h=0.1, stages=(Stage(until_h=5, down=frozenset({0})),))
    right = share_down(0.1, 5)
    covered = 0
    for number in range(100):
        lived = simulated_share(cluster, [part], start=number.to_bytes(2, "big"), most_events=4_000)
        covered += lived.low <= right <= lived.high
    assert covered >= 87


def test_student_factor_is_that_of_its_degrees_of_freedom() -> None:
    # Student's t at 97.5 % for 39 degrees of freedom, by integrating its density (numerically, Simpson's rule).
    import math

    from staddle.survival import simulated

    degrees = BATCHES - 1
    scale = math.gamma((degrees + 1) / 2) / (math.sqrt(degrees * math.pi) * math.gamma(degrees / 2))
    steps, reach = 2000, simulated._SURE_95
    width = reach / steps
    heights = [scale * (1 + (i * width) ** 2 / degrees) ** (-(degrees + 1) / 2) for i in range(steps + 1)]
    area = width / 3 * sum(h * (1 if i in (0, steps) else 4 if i % 2 else 2) for i, h in enumerate(heights))
    assert 0.5 + area == pytest.approx(0.975, abs=1e-5)


def test_a_cluster_without_failures_never_fails() -> None:
    cluster, _ = drawn(1)
    still = Rates().with_rows(replace(row, low=0, high=0) for row in starting_rates().rows.values())
    parts = parts_of(cluster, still, End.PESSIMISTIC)
    assert parts == ()
    assert simulated_share(cluster, parts, start=b"").high == 0
    assert Quantity.FAILURES.unit is Unit.A_YEAR
