"""Scenarios against hand-counted ones."""

from math import comb

import pytest

from staddle.failures.scenario import Scenario, any_of, doubles, kinds, named, singles
from staddle.kernel import InputRefused
from tests.failures.test_failure_domains import Area, Plan, Thing

# Two racks of two hosts at one site; a pool in each rack, and one inside host h1.
PLAN = Plan(
    domains=(Area("west", "site"), Area("r1", "rack", "west"), Area("r2", "rack", "west")),
    hosts=(Thing("h1", ("r1",)), Thing("h2", ("r1",)), Thing("h3", ("r2",)), Thing("h4", ("r2",))),
    pools=(Thing("p1", ("r1",)), Thing("p2", ("r2",)), Thing("inside", ("h1",))),
)


def test_kinds_begin_with_hosts_and_pools() -> None:
    assert kinds(PLAN) == ("host", "pool", "site", "rack")
    assert kinds(Plan(domains=())) == ()


def test_any_two_racks_is_every_pair_of_racks_with_all_in_them() -> None:
    assert list(any_of(PLAN, count=2, kind="rack")) == [
        Scenario(
            name="rack r1 + rack r2",
            hosts=("h1", "h2", "h3", "h4"),
            pools=("p1", "p2", "inside"),
            domains=(("rack", "r1"), ("rack", "r2")),
        )
    ]


def test_a_host_takes_the_pool_inside_it_along() -> None:
    first, second, *_ = any_of(PLAN, count=1, kind="host")
    assert (first.hosts, first.pools) == (("h1",), ("inside",))
    assert (second.hosts, second.pools) == (("h2",), ())


def test_there_is_no_choice_of_more_than_there_are() -> None:
    assert list(any_of(PLAN, count=3, kind="rack")) == []
    assert list(any_of(PLAN, count=1, kind="feed")) == []


def test_named_domains_fail_together_each_thing_once() -> None:
    found = named(PLAN, ["r1", "h2", "p2"])
    assert found.hosts == ("h1", "h2")
    assert found.pools == ("p1", "p2", "inside")
    assert found.domains == (("rack", "r1"), ("host", "h2"), ("pool", "p2"))


def test_unknown_names_are_all_told() -> None:
    with pytest.raises(InputRefused) as refused:
        named(PLAN, ["r9", "h1", "h9"])
    assert [fault.what.split('"')[1] for fault in refused.value.faults] == ["r9", "h9"]


def test_singles_and_doubles_are_all_of_every_kind() -> None:
    assert len(list(singles(PLAN))) == 4 + 3 + 1 + 2
    assert len(list(doubles(PLAN))) == comb(4, 2) + comb(3, 2) + comb(1, 2) + comb(2, 2)
