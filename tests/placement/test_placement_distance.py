"""How far apart data may stand, on which CPU level, and on which site's networks: from design and tables to the search."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from demo.ousemoor_estate import demo_estate
from demo.sluicelog_package import build_package
from staddle.design.limits import Limits, read_limits
from staddle.design.model import Design
from staddle.design.reader import read_design
from staddle.estate.model import Estate, Link
from staddle.package import Package, read_package
from staddle.placement.distance import longest_round_trips, round_trip_limit, too_far
from staddle.placement.model import BestShown, NoneExists
from staddle.placement.problem import problem_from
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules

ESTATE = demo_estate(surveyed=date(2026, 11, 2))
GATES = (Path(__file__).parents[2] / "demo" / "gates" / "design.yaml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def sluicelog() -> Package:
    with TemporaryDirectory() as folder:
        return read_package(build_package(Path(folder)))


def gates(*edits: tuple[str, str]) -> Design:
    """The demo's cluster of two sites and a tie-breaker, with these pieces changed, each there exactly once."""
    text = GATES
    for old, new in edits:
        assert text.count(old) == 1
        text = text.replace(old, new)
    return read_design(text, where="design.yaml").design


def limits(*rows: str) -> Limits:
    text = "".join(f'- {{{row}, source: "paper", dated: 2026-09-14}}\n' for row in rows)
    return read_limits(text, where="limits.yaml")


def linked(*links: tuple[str, str, int]) -> Estate:
    """The demo's estate with these round trips, in microseconds."""
    rows = tuple(Link(name=f"l{n}", sites=(a, b), round_trip_us=us) for n, (a, b, us) in enumerate(links))
    return replace(ESTATE, links=rows)


def test_of_two_links_the_longer_one_counts_whichever_way_it_is_written() -> None:
    estate = linked(("Tollgate", "Ousemoor", 6_500), ("Ousemoor", "Tollgate", 1_800))
    assert longest_round_trips(estate) == {("Ousemoor", "Tollgate"): timedelta(microseconds=6_500)}
    assert too_far(estate, timedelta(milliseconds=6)) == (("Ousemoor", "Tollgate"),)
    assert too_far(estate, timedelta(milliseconds=6.5)) == ()  # as long as the limit is within it
    assert too_far(estate, None) == ()


@pytest.mark.parametrize(
    ("rows", "limit_ms"),
    [
        ((), 10),
        (("what: latency-most, value: 5 ms",), 5),
        (("what: latency-most, value: 50 ms",), 10),
        (("what: latency-most, value: 5 ms, applies_to: without data",), 10),
        (
            (
                "what: latency-most, value: 4 ms, applies_to: data",
                "what: latency-most, value: 2 ms, applies_to: without data",
            ),
            4,
        ),
        (("what: latency-most, value: no limit",), 10),
    ],
)
def test_the_shorter_of_what_design_and_maker_say(rows: tuple[str, ...], limit_ms: int) -> None:
    assert round_trip_limit(gates(), limits(*rows)) == timedelta(milliseconds=limit_ms)


def test_without_a_word_there_is_no_limit() -> None:
    asked = gates((", data within 10 ms", ""))
    assert round_trip_limit(asked, None) is None
    assert round_trip_limit(asked, limits("what: latency-most, value: 7 ms")) == timedelta(milliseconds=7)


def test_two_sites_with_networks_of_their_own_and_a_tie_breaker_at_a_third(sluicelog: Package) -> None:
    problem = problem_from(design=gates(), estate=ESTATE, package=sluicelog)
    assert [need.networks for need in problem.members] == [
        (f"{short}-management", f"{short}-telemetry") for short in ("om", "tg", "fl")
    ]
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert broken_rules(problem, outcome.placement.seats) == ()
    assert [seat.host[:2] for seat in outcome.placement.seats] == ["om", "tg", "fl"]


def test_sites_further_apart_than_asked_are_a_conflict_with_both_rules(sluicelog: Package) -> None:
    estate = linked(("Ousemoor", "Tollgate", 10_001))
    outcome = solve(problem_from(design=gates(), estate=estate, package=sluicelog))
    assert isinstance(outcome, NoneExists)
    assert {rule.name for rule in outcome.conflict} == {"latency", "site:Ousemoor", "site:Tollgate"}
    assert "let data stand at sites that are far from each other" in " ".join(
        mend.text for mend in outcome.mends
    )
    # The tie-breaker holds no data: however far, it may stand there.
    far = linked(("Ousemoor", "Fennick's Lode", 90_000), ("Ousemoor", "Tollgate", 10_000))
    assert isinstance(solve(problem_from(design=gates(), estate=far, package=sluicelog)), BestShown)


def test_hosts_below_the_makers_processor_level_are_not_taken(sluicelog: Package) -> None:
    # The psABI's levels are nested: whoever has v4 has v3 (x86-64 psABI, from memory). In the demo om-h07 and om-h08 have v4.
    asked = limits("what: processor-level, value: x86-64-v4, applies_to: data")
    problem = problem_from(design=gates(), estate=ESTATE, package=sluicelog, limits=asked)
    assert [need.cpu_levels for need in problem.members] == [("x86-64-v4",), ("x86-64-v4",), ()]
    # A restart asks for the level as well, so only without a failure to outlive is it the level that stands alone.
    assert isinstance(solve(problem), NoneExists)
    at_rest = gates(("survive:\n  - any 1 host\n", "survive: []\n"))
    outcome = solve(problem_from(design=at_rest, estate=ESTATE, package=sluicelog, limits=asked))
    assert isinstance(outcome, NoneExists)
    assert {rule.name for rule in outcome.conflict} == {"cpu-level", "site:Tollgate"}
    lower = limits("what: processor-level, value: x86-64-v2")
    assert [
        need.cpu_levels
        for need in problem_from(design=gates(), estate=ESTATE, package=sluicelog, limits=lower).members
    ] == [(), (), ()]


def test_a_level_that_cannot_be_compared_is_not_excluded(sluicelog: Package) -> None:
    hosts = tuple(
        replace(host, cpu_level="") if host.name.startswith("tg") else host for host in ESTATE.hosts
    )
    asked = limits("what: processor-level, value: x86-64-v4")
    problem = problem_from(
        design=gates(), estate=replace(ESTATE, hosts=hosts), package=sluicelog, limits=asked
    )
    assert problem.members[1].cpu_levels == ("x86-64-v4", "")


def test_what_holds_data_restarts_at_its_own_site_where_sites_are_too_far_apart() -> None:
    from staddle.placement.data import Tables
    from staddle.placement.model import Reserve, Seat
    from staddle.placement.reserve import ReserveCheck
    from tests.placement.questions import cluster, host, member, ousemoor

    problem = ousemoor(
        members=(
            member("a", disks=()),
            member("b", disks=(), data=False),
            member("c", disks=(), site="ousemoor"),
        ),
        hosts=(host("h1", "r1"), host("h2", "r2"), host("h3", "r3")),
        clusters=(cluster(too_far=(("ousemoor", "tollgate"),)),),
        reserve=Reserve(survive=()),
    )
    seats = tuple(
        Seat(member=name, host=at, disks=()) for name, at in (("a", "h1"), ("b", "h2"), ("c", "h3"))
    )
    check = ReserveCheck(Tables(problem))
    assert [machine.sites for machine in check.running(seats)] == [("ousemoor",), (), ("ousemoor",)]
