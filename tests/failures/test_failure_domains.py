"""The closure upwards and what a domain contains, against a brute-force model."""

from dataclasses import dataclass

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.failures.domains import Contents, contents, domains_above, pool_domains_above
from staddle.kernel import InputRefused


@dataclass(frozen=True)
class Area:
    name: str
    kind: str
    inside: str | None = None


@dataclass(frozen=True)
class Thing:
    name: str
    domains: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plan:
    domains: tuple[Area, ...]
    hosts: tuple[Thing, ...] = ()
    pools: tuple[Thing, ...] = ()


@st.composite
def plans(draw: st.DrawFn) -> Plan:
    """A forest of domains in a shuffled table, with hosts and pools anywhere in it; pools also inside hosts."""
    areas: list[Area] = []
    for number in range(draw(st.integers(0, 8))):
        above = draw(st.sampled_from([None, *(area.name for area in areas)]))
        areas.append(Area(f"d{number}", draw(st.sampled_from(["site", "rack", "feed"])), above))
    names = [area.name for area in areas]

    def things(letter: str, places: list[str]) -> tuple[Thing, ...]:
        some = st.lists(st.sampled_from(places), max_size=3, unique=True) if places else st.just([])
        return tuple(Thing(f"{letter}{i}", tuple(draw(some))) for i in range(draw(st.integers(0, 4))))

    hosts = things("h", names)
    pools = things("p", [*names, *(host.name for host in hosts)])
    return Plan(tuple(draw(st.permutations(areas))), hosts, pools)


def brute_above(plan: Plan, direct: tuple[str, ...]) -> set[tuple[str, str]]:
    """Adds whatever stands above something already found, until nothing is new."""
    found: set[tuple[str, str]] = set()
    names = set(direct)
    while True:
        fresh = {(a.kind, a.name) for a in plan.domains if a.name in names}
        fresh |= {("host", h.name) for h in plan.hosts if h.name in names}
        if fresh <= found:
            return found
        found |= fresh
        names |= {a.inside for a in plan.domains if a.name in names and a.inside is not None}
        names |= {d for h in plan.hosts if h.name in names for d in h.domains}


@given(plans())
def test_closure_is_what_brute_force_finds(plan: Plan) -> None:
    for kind, rows, closed in (
        ("host", plan.hosts, domains_above(plan)),
        ("pool", plan.pools, pool_domains_above(plan)),
    ):
        assert list(closed) == [row.name for row in rows]
        for row in rows:
            above = closed[row.name]
            assert above[0] == (kind, row.name)
            assert len(set(above)) == len(above)
            assert set(above[1:]) == brute_above(plan, row.domains)


@given(plans())
def test_contents_are_the_closure_read_downwards(plan: Plan) -> None:
    found = contents(plan)
    assert set(found) == (
        {(a.kind, a.name) for a in plan.domains}
        | {("host", h.name) for h in plan.hosts}
        | {("pool", p.name) for p in plan.pools}
    )
    for key, inside in found.items():
        assert inside.hosts == tuple(
            h.name for h in plan.hosts if key == ("host", h.name) or key in brute_above(plan, h.domains)
        )
        assert inside.pools == tuple(
            p.name for p in plan.pools if key == ("pool", p.name) or key in brute_above(plan, p.domains)
        )


def test_order_is_itself_then_each_named_domain_with_what_it_is_in() -> None:
    plan = Plan(
        (Area("S", "site"), Area("room", "room", "S"), Area("R1", "rack", "room"), Area("A", "feed", "S")),
        (Thing("h1", ("R1", "A")),),
    )
    assert domains_above(plan)["h1"] == (
        ("host", "h1"),
        ("rack", "R1"),
        ("room", "room"),
        ("site", "S"),
        ("feed", "A"),
    )


def test_disks_inside_a_host_fail_with_it() -> None:
    plan = Plan((Area("S", "site"),), (Thing("h1", ("S",)),), (Thing("local", ("h1",)),))
    assert contents(plan)["host", "h1"] == Contents(hosts=("h1",), pools=("local",))


def test_circle_is_refused() -> None:
    plan = Plan((Area("a", "room", "b"), Area("b", "room", "a")))
    with pytest.raises(InputRefused, match='the domain "a" stands inside itself'):
        domains_above(plan)


def test_unknown_domain_is_refused() -> None:
    with pytest.raises(InputRefused, match='host "h1" stands in "R9", which is no known domain'):
        domains_above(Plan((), (Thing("h1", ("R9",)),)))
    with pytest.raises(InputRefused, match='the domain "a" stands inside "b", which is no known domain'):
        contents(Plan((Area("a", "room", "b"),)))
