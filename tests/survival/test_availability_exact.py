"""The exact sum against every state gone through one by one, against closed forms, and for how it must move."""

import math
from dataclasses import replace

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from staddle.survival.cluster import Cluster, Standing
from staddle.survival.exact import exact_share
from staddle.survival.formulas import HOURS_A_YEAR, failover_share, k_of_n, steady_state
from staddle.survival.markov import hot_unavailability
from staddle.survival.parts import End, parts_of
from staddle.survival.rates import Quantity, Rates, starting_rates
from tests.survival.clusters import clusters, only, rates, share_by_brute_force

MOST_STATES = 4_000


def exact(cluster: Cluster, rates: Rates, end: End = End.PESSIMISTIC) -> float:
    found = exact_share(cluster, parts_of(cluster, rates, end))
    assert found is not None
    assert found.left_out == 0
    return found.share


def three(**other: object) -> Cluster:
    """Three members, each on its own host."""
    return Cluster(
        members=tuple(Standing(member=f"m{i}", domains=(("host", f"h{i}"),)) for i in range(3)),
        **other,  # type: ignore[arg-type]  # fields of Cluster
    )


@settings(max_examples=60, deadline=None)
@given(cluster=clusters(most=3), rates=rates(), end=st.sampled_from(list(End)), data=st.data())
def test_it_is_the_sum_over_all_states(cluster: Cluster, rates: Rates, end: End, data: st.DataObject) -> None:
    parts = list(parts_of(cluster, rates, end))
    # Fewer parts where all would be too many states for the stupid sum; which ones is drawn.
    parts = data.draw(st.permutations(parts))
    while math.prod(len(part.stages) + 1 for part in parts) > MOST_STATES:
        parts.pop()
    found = exact_share(cluster, parts)
    assert found is not None
    assert found.share == pytest.approx(share_by_brute_force(cluster, parts), rel=1e-9, abs=1e-13)


def test_a_member_alone_has_the_availability_of_its_means() -> None:
    # A host with an MTBF of 1000 h and 8 h to mend: 8/1008, 69.5238 h in a year.
    cluster = Cluster(members=(Standing(member="m", domains=(("host", "h"),)),))
    rates = only([(Quantity.FAILURES, "host", HOURS_A_YEAR / 1000), (Quantity.REPAIR, "host", 8)])
    assert exact(cluster, rates) == pytest.approx(1 - steady_state(1000, 8), rel=1e-12)
    assert exact(cluster, rates) * HOURS_A_YEAR == pytest.approx(69.5238095, rel=1e-9)


@pytest.mark.parametrize(("hours", "share"), [(1 / 9, 0.972), (1 / 99, 0.999702), (1 / 999, 0.999997002)])
def test_two_of_three(hours: float, share: float) -> None:
    # 2 of 3 with p 0.9, 0.99, 0.999: a unit that runs 1 h and is down 1/9, 1/99, 1/999 h.
    rates = only([(Quantity.FAILURES, "host", HOURS_A_YEAR), (Quantity.REPAIR, "host", hours)])
    assert 1 - exact(three(), rates) == pytest.approx(share, rel=1e-9)


def test_two_units_in_parallel_are_the_chain_with_a_repairer_each() -> None:
    pair = replace(
        three(), members=tuple(replace(one, votes=False) for one in three().members[:2]), data_needed=1
    )
    rates = only([(Quantity.FAILURES, "host", 0.001 * HOURS_A_YEAR), (Quantity.REPAIR, "host", 10)])
    assert exact(pair, rates) == pytest.approx(hot_unavailability(2, 0.001, 0.1, repairers=2), rel=1e-12)
    assert exact(pair, rates) == pytest.approx(9.8029605e-5, rel=1e-8)


def test_take_overs_of_the_leader() -> None:
    # Three that could lead, four failures a year each that last as long as the take-over of 60 s. Who leads is
    # replaced; the others only wait to be asked: a third of failover_share(3, 4, 60), less what overlaps.
    members = tuple(
        replace(one, leads=leads, votes=False)
        for one, leads in zip(three().members, ("first", "second", "second"), strict=True)
    )
    rates = only(
        [
            (Quantity.FAILURES, "host", 4),
            (Quantity.REPAIR, "host", 60 / 3600),
            (Quantity.TAKE_OVER, "", 60 / 3600),
        ]
    )
    assert exact(replace(three(), members=members), rates) == pytest.approx(
        failover_share(3, 4, 60) / 3, rel=1e-5
    )


def test_a_pair_with_a_tenth_in_common_is_ten_times_better_than_one() -> None:
    # The lesson of IEC 61508-6 annex B, however small the rate.
    alone = Cluster(members=(Standing(member="m", domains=(("host", "h0"),), votes=False),))
    pair = Cluster(
        members=tuple(Standing(member=f"m{i}", domains=(("host", f"h{i}"),), votes=False) for i in range(2))
    )
    for per_year in (1e-2, 1e-4):
        rates = only(
            [
                (Quantity.FAILURES, "host", per_year),
                (Quantity.REPAIR, "host", 8),
                (Quantity.COMMON_CAUSE, "host", 0.1),
            ]
        )
        assert exact(alone, rates) / exact(pair, rates) == pytest.approx(10, rel=1e-3)


def test_a_shared_domain_counts_once_and_not_for_each_member() -> None:
    shared = Cluster(
        members=tuple(Standing(member=f"m{i}", domains=(("host", f"h{i}"), ("rack", "r"))) for i in range(3))
    )
    rates = only([(Quantity.FAILURES, "rack", 876), (Quantity.REPAIR, "rack", 2)])
    assert exact(shared, rates) == pytest.approx(1 - steady_state(10, 2), rel=1e-12)
    own = shared.with_domains("rack", (("r0",), ("r1",), ("r2",)))
    assert exact(own, rates) == pytest.approx(1 - k_of_n(2, [steady_state(10, 2)] * 3), rel=1e-12)


def test_what_stands_in_a_domain_fails_with_it() -> None:
    # A rack in a room: both above the member, so both count, each by its own failures.
    nested = Cluster(members=(Standing(member="m", domains=(("host", "h"), ("rack", "r"), ("room", "o"))),))
    rates = only(
        [
            (Quantity.FAILURES, "rack", 876),
            (Quantity.REPAIR, "rack", 2),
            (Quantity.FAILURES, "room", 87.6),
            (Quantity.REPAIR, "room", 5),
        ]
    )
    assert 1 - exact(nested, rates) == pytest.approx(steady_state(10, 2) * steady_state(100, 5), rel=1e-12)


def test_a_member_that_restarts_elsewhere_waits_for_the_restart_and_not_for_the_repair() -> None:
    stays = Cluster(members=(Standing(member="m", domains=(("host", "h"),)),))
    goes = replace(stays, members=(replace(stays.members[0], outlives=frozenset({("host", "h")})),))
    rates = only(
        [
            (Quantity.FAILURES, "host", 8.76),
            (Quantity.REPAIR, "host", 24),
            (Quantity.DETECTION, "", 0.1),
            (Quantity.RESTART, "machine", 0.2),
            (Quantity.RESTART, "service", 0.3),
        ]
    )
    assert exact(stays, rates) == pytest.approx(1 - steady_state(1000, 24.5), rel=1e-12)
    assert exact(goes, rates) == pytest.approx(1 - steady_state(1000, 0.6), rel=1e-12)


@settings(max_examples=60, deadline=None)
@given(cluster=clusters(), rates=rates(), data=st.data())
def test_a_worse_rate_never_makes_it_better(cluster: Cluster, rates: Rates, data: st.DataObject) -> None:
    before = exact(cluster, rates)
    row = data.draw(st.sampled_from(list(rates.rows.values())))
    most = 1.0 if row.quantity is Quantity.COMMON_CAUSE else row.high * 1.5 + 1
    worse = rates.with_rows([replace(row, high=most)])
    assert exact(cluster, worse) >= before * (1 - 1e-9)


@settings(max_examples=60, deadline=None)
@given(cluster=clusters(), rates=rates())
def test_the_optimistic_end_is_never_above_the_pessimistic_one(cluster: Cluster, rates: Rates) -> None:
    assert (
        exact(cluster, rates, End.OPTIMISTIC) <= exact(cluster, rates, End.PESSIMISTIC) * (1 + 1e-9) + 1e-15
    )


@settings(max_examples=60, deadline=None)
@given(cluster=clusters(), rates=rates(), kind=st.sampled_from(["host", "rack", "feed", "pool"]))
def test_more_members_with_the_same_needed_are_never_less_available(
    cluster: Cluster, rates: Rates, kind: str
) -> None:
    # Without votes, since a vote more can be a vote too many; one more that no one leads after.
    plain = replace(cluster, members=tuple(replace(one, votes=False) for one in cluster.members))
    # The new one stands where another stands, so that no further share becomes a common one.
    like = plain.members[-1]
    more = replace(plain, members=(*plain.members, replace(like, member="more", leads="never", data=True)))
    assume(len(plain.members) > 1)
    assert exact(more, rates) <= exact(plain, rates) * (1 + 1e-9) + 1e-15


@settings(max_examples=40, deadline=None)
@given(cluster=clusters(), rates=rates(), data=st.data())
def test_standing_in_one_more_domain_never_helps(cluster: Cluster, rates: Rates, data: st.DataObject) -> None:
    number = data.draw(st.integers(0, len(cluster.members) - 1))
    members = list(cluster.members)
    members[number] = replace(members[number], domains=(*members[number].domains, ("room", "cellar")))
    assert exact(replace(cluster, members=tuple(members)), rates) >= exact(cluster, rates) * (1 - 1e-9)


def test_conditions_that_are_left_out_stand_for_little_and_are_told() -> None:
    rates = starting_rates()
    members = tuple(
        Standing(
            member=f"m{i}",
            domains=(
                ("host", f"h{i % 8}"),
                ("rack", f"r{i % 4}"),
                ("feed", f"f{i % 2}"),
                ("pool", f"p{i % 5}"),
            ),
        )
        for i in range(12)
    )
    parts = parts_of(Cluster(members=members), rates, End.PESSIMISTIC)
    whole = exact_share(Cluster(members=members), parts, most=(1_000_000,))
    short = exact_share(Cluster(members=members), parts, most=(300,))
    assert whole is not None
    assert short is not None
    assert whole.left_out == 0
    assert 0 < short.left_out <= 1e-6 * short.share
    assert short.share <= whole.share <= short.share + short.left_out


def test_what_is_too_large_is_not_called_exact() -> None:
    many = Cluster(members=tuple(Standing(member=f"m{i}", domains=(("host", f"h{i}"),)) for i in range(70)))
    assert exact_share(many, parts_of(many, starting_rates(), End.PESSIMISTIC)) is None
    dozen = Cluster(
        members=tuple(
            Standing(member=f"m{i}", domains=(("rack", f"r{i // 2}"), ("feed", f"f{i % 3}")))
            for i in range(12)
        )
    )
    rates = only([(Quantity.FAILURES, "rack", 2000), (Quantity.REPAIR, "rack", 20)])
    assert exact_share(dozen, parts_of(dozen, rates, End.PESSIMISTIC), most=(3,)) is None
