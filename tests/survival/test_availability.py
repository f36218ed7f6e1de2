"""The whole answer: its range, its single figure, causes in their order, what improvements bring, what stands beside it."""

from dataclasses import replace

import pytest
from hypothesis import given, settings

from staddle.kernel import InputRefused
from staddle.survival.availability import TAKE_OVER_CAUSE, Availability, Share, availability_of, rates_used
from staddle.survival.cluster import Cluster, Standing
from staddle.survival.exact import exact_share
from staddle.survival.formulas import minutes_down
from staddle.survival.parts import End, parts_of
from staddle.survival.rates import Origin, Quantity, Rates, starting_rates
from staddle.survival.whatif import all_on_one_host, as_far_apart, improvements
from staddle.survival.wording import (
    ASSUMPTIONS,
    availability_text,
    brings_nothing,
    down_text,
    minutes_text,
    notes,
    share_sentence,
    worth_telling,
)
from tests.survival.clusters import clusters, only, rates


class Fixed:
    """The port of chance with bytes that are always the same."""

    def token(self, length_bytes: int) -> bytes:
        return bytes(length_bytes)


def computed(cluster: Cluster, rates: Rates | None = None, **there_are: int) -> Availability:
    return availability_of(cluster, rates or starting_rates(), there_are=there_are, random=Fixed())


def racks(*names: str, feed: bool = True) -> Cluster:
    """A member in each rack named, all on one feed, the first leads, the second is its deputy."""
    return Cluster(
        members=tuple(
            Standing(
                member=f"m{i + 1}",
                domains=(("host", f"h{i}"), ("rack", name), *((("feed", "A"),) if feed else ())),
                leads=("first", "second", "never")[min(i, 2)],
            )
            for i, name in enumerate(names)
        )
    )


def test_the_range_runs_from_the_better_end_of_every_rate_to_the_worse_one() -> None:
    cluster = racks("r1", "r1", "r2")
    found = computed(cluster)
    for end, share in ((End.OPTIMISTIC, found.share.best), (End.PESSIMISTIC, found.share.worst)):
        exact = exact_share(cluster, parts_of(cluster, starting_rates(), end))
        assert exact is not None
        assert share == exact.share
    assert found.share.best < found.share.worst
    assert found.share.availability == (1 - found.share.worst, 1 - found.share.best)


@settings(max_examples=15, deadline=None)
@given(cluster=clusters(), rates=rates())
def test_every_range_is_in_order(cluster: Cluster, rates: Rates) -> None:
    found = computed(cluster, rates, host=4, rack=2)
    for share in (found.share, found.on_one_host, found.apart):
        assert 0 <= share.best <= share.worst * (1 + 1e-9) + 1e-15
        assert share.worst <= 1 + 1e-9
    assert all(row.minutes_low <= row.minutes_high for row in found.causes)
    assert all(row.minutes_low <= row.minutes_high for row in found.improvements)
    assert [row.minutes_high for row in found.causes] == sorted(
        (r.minutes_high for r in found.causes), reverse=True
    )
    assert all(row.minutes_high >= -1e-6 for row in found.causes)


def test_no_single_figure_where_a_rate_is_common_practice() -> None:
    found = computed(racks("r1", "r2", "r3"))
    assert found.figure is None
    assert "so there is no single figure" in notes(found)[1]


def test_a_single_figure_from_measured_values_alone_and_it_is_within_the_range() -> None:
    cluster = racks("r1", "r2", "r3")
    measured = Rates().with_rows(
        replace(row, low=row.high / 2, point=row.high * 0.75, origin=Origin.MEASURED, source="tickets")
        for row in starting_rates().rows.values()
    )
    found = computed(cluster, measured)
    assert found.figure is not None
    assert found.share.best < found.figure < found.share.worst
    assert "measured single values" in notes(found)[1]


@pytest.mark.parametrize("change", [{"origin": Origin.MAKER}, {"point": None}])
def test_one_value_that_is_not_measured_as_a_single_one_leaves_no_figure(change: dict[str, object]) -> None:
    cluster = racks("r1", "r2", "r3")
    measured = {
        key: replace(row, low=row.high / 2, point=row.high * 0.75, origin=Origin.MEASURED)
        for key, row in starting_rates().rows.items()
    }
    key = (Quantity.REPAIR, "rack")
    measured[key] = replace(measured[key], **change)  # type: ignore[arg-type]  # fields of Rate
    assert computed(cluster, Rates(rows=measured)).figure is None


def test_the_rates_that_are_told_are_those_that_count() -> None:
    used = {(row.quantity, row.about) for row in rates_used(racks("r1", "r1", "r1"), starting_rates())}
    # One rack: no share of racks is in common. No pool, no site: nothing of theirs.
    assert (Quantity.FAILURES, "rack") in used
    assert (Quantity.COMMON_CAUSE, "host") in used
    assert not {about for _, about in used} & {"pool", "site", "room"}
    changed = starting_rates()
    for row in starting_rates().rows.values():
        if (row.quantity, row.about) not in used:
            changed = changed.with_rows([replace(row, low=row.low, high=row.high * 3 + 0.01)])
    assert computed(racks("r1", "r1", "r1"), changed).share == computed(racks("r1", "r1", "r1")).share


def test_the_shared_feed_is_the_largest_cause_and_a_third_feed_for_three_takes_it_away() -> None:
    rates = only(
        [
            (Quantity.FAILURES, "feed", 1),
            (Quantity.REPAIR, "feed", 4),
            (Quantity.FAILURES, "host", 0.04),
            (Quantity.REPAIR, "host", 24),
        ]
    )
    base = racks("r1", "r2", "r3").with_domains("feed", (("A",), ("A",), ("B",)))
    found = computed(base, rates, feed=2)
    # Feed A takes two of three: 4 h a year of 8760 h, 240 min.
    assert found.causes[0].what == "feed A, under m1, m2"
    assert found.causes[0].minutes_high == pytest.approx(240, rel=0.01)
    best = found.improvements[0]
    assert best.what == "a third feed"
    assert best.minutes_low == best.minutes_high == pytest.approx(240, rel=0.01)


def test_what_the_estate_has_is_told_apart_from_what_it_lacks() -> None:
    cluster = racks("r1", "r1", "r1")
    assert "members over 3 racks, which the estate has" in {
        one.title for one in improvements(cluster, starting_rates(), {"rack": 5, "feed": 1})
    }
    titles = {one.title for one in improvements(cluster, starting_rates(), {"rack": 1, "feed": 2})}
    assert "a second rack" in titles
    assert "3 racks, one for each member" in titles
    assert "members over 2 feeds, which the estate has" in titles


def test_a_faster_repair_is_the_good_end_held() -> None:
    cluster = racks("r1", "r2", "r3")
    told = {one.title: one for one in improvements(cluster, starting_rates(), {})}
    held = told["hosts repaired within 4 h instead of 72 h"]
    assert held.rates.of_domain(Quantity.REPAIR, "host", "h0").high == 4
    before, after = (
        exact_share(cluster, parts_of(cluster, rates, End.PESSIMISTIC))
        for rates in (starting_rates(), held.rates)
    )
    assert before is not None
    assert after is not None
    found = computed(cluster)
    row = next(one for one in found.improvements if one.what == held.title)
    assert row.minutes_low == 0
    assert row.minutes_high == pytest.approx(minutes_down(before.share - after.share), rel=1e-9)


def test_a_deputy_is_proposed_where_there_is_none_and_helps() -> None:
    members = racks("r1", "r2", "r3").members
    alone = Cluster(members=(members[0], replace(members[1], leads="never"), members[2]))
    row = next(one for one in computed(alone).improvements if one.what == "m2 as deputy")
    assert row.minutes_high > 1
    assert not any("deputy" in one.what for one in computed(racks("r1", "r2", "r3")).improvements)


def test_further_members_keep_the_number_of_votes_odd() -> None:
    three = {one.title: one.cluster for one in improvements(racks("r1", "r2", "r3"), starting_rates(), {})}
    assert len(three["two members more, apart as the others are"].members) == 5
    two = {one.title: one.cluster for one in improvements(racks("r1", "r2"), starting_rates(), {})}
    more = two["one member more, apart as the others are"]
    assert len(more.members) == 3
    # In a rack of its own, as the others are; on the feed that all share.
    assert len(more.touched()["feed", "A"]) == 3
    assert all(len(members) == 1 for (kind, _), members in more.touched().items() if kind == "rack")


def test_restart_elsewhere_is_proposed_for_those_who_cannot() -> None:
    cluster = racks("r1", "r2", "r3")
    title = "room and pools for a restart of m1, m2, m3 on another host"
    row = next(one for one in computed(cluster).improvements if one.what == title)
    assert row.minutes_high > 0
    able = replace(
        cluster,
        members=tuple(
            replace(one, outlives=frozenset(key for key in one.domains if key[0] == "host"))
            for one in cluster.members
        ),
    )
    assert not any(one.what.startswith("room and pools") for one in computed(able).improvements)


def test_all_on_one_host_is_worse_and_apart_is_better() -> None:
    found = computed(racks("r1", "r1", "r2"), rack=3, host=3, feed=3)
    assert found.on_one_host.worst > found.share.worst > found.apart.worst
    assert found.on_one_host.best > found.share.best > found.apart.best
    one_host = all_on_one_host(racks("r1", "r1", "r2"))
    assert {len(members) for members in one_host.touched().values()} == {3}


def test_as_far_apart_gives_each_its_own_where_there_are_enough() -> None:
    apart = as_far_apart(racks("r1", "r1", "r1"), {"rack": 2, "feed": 3})
    counts = {key: len(members) for key, members in apart.touched().items()}
    assert sorted(count for (kind, _), count in counts.items() if kind == "rack") == [1, 2]
    assert [count for (kind, _), count in counts.items() if kind == "feed"] == [1, 1, 1]
    # Who stands in two of a kind keeps standing in two.
    two = replace(racks("r1").members[0], domains=(("pool", "p1"), ("pool", "p2")))
    assert len(as_far_apart(Cluster(members=(two,)), {"pool": 5}).members[0].domains) == 2


def test_taking_over_is_a_cause_of_its_own() -> None:
    found = computed(racks("r1", "r2", "r3"))
    row = next(one for one in found.causes if one.what == TAKE_OVER_CAUSE)
    assert 0 < row.minutes_low < row.minutes_high
    nobody = Cluster(members=tuple(replace(one, leads="never") for one in racks("r1", "r2", "r3").members))
    assert not any(one.what == TAKE_OVER_CAUSE for one in computed(nobody).causes)


def test_a_cluster_that_is_too_large_is_simulated_and_says_so() -> None:
    members = tuple(Standing(member=f"m{i}", domains=(("host", f"h{i}"), ("site", "s"))) for i in range(63))
    rates = only(
        [(Quantity.FAILURES, "site", 2), (Quantity.REPAIR, "site", 10), (Quantity.FAILURES, "service", 0.5)]
    )
    found = computed(Cluster(members=members), rates)
    assert found.share.simulated
    assert found.share.best < 20 / 8780 < found.share.worst  # 10 h in 4390 h
    assert (found.causes, found.improvements) == ((), ())
    assert "years of it were simulated" in notes(found)[-1]


def test_a_cluster_that_cannot_be_is_refused() -> None:
    one = Standing(member="m", domains=())
    with pytest.raises(InputRefused, match="stands twice"):
        Cluster(members=(one, one))
    with pytest.raises(InputRefused, match="2 members with data are needed, 1 hold data"):
        Cluster(members=(one,), data_needed=2)
    with pytest.raises(InputRefused, match="without members"):
        Cluster(members=())


def test_it_is_said_in_words() -> None:
    assert (
        share_sentence(Share(best=0.0000068, worst=0.00077))
        == "99.923 % to 99.99932 %; 3.6 min to 6.7 h down a year"
    )
    assert share_sentence(Share.single(0.001)) == "99.90 %; 8.8 h down a year"
    assert [availability_text(down) for down in (0, 0.5, 0.01, 1e-9)] == [
        "100 %",
        "50 %",
        "99.0 %",
        "99.99999990 %",
    ]
    assert [down_text(m) for m in (0, 0.0001, 0.1, 1, 30, 200, 5000)] == [
        "0 min",
        "under 0.1 s",
        "6 s",
        "1.0 min",
        "30 min",
        "3.3 h",
        "3.5 d",
    ]
    assert [minutes_text(m) for m in (299.4, 9.87, 0.512, 0.004, -1.2)] == ["299", "9.9", "0.51", "0", "-1.2"]


def test_that_it_is_advice_from_ranges_is_always_said() -> None:
    assert "Rates are ranges" in ASSUMPTIONS[0]
    assert ASSUMPTIONS[0].endswith("It is advice.")


def test_what_brings_nothing_is_named_and_not_ranked() -> None:
    found = computed(
        racks("r1", "r2", "r3"), only([(Quantity.FAILURES, "feed", 1), (Quantity.REPAIR, "feed", 1)])
    )
    told = {one.what for one in worth_telling(found)}
    nothing = set(brings_nothing(found))
    assert told | nothing == {one.what for one in found.improvements}
    assert not told & nothing
    assert "two members more, apart as the others are" in nothing
    assert "3 feeds, one for each member" in told
