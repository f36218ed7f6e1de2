"""What is learnt from one placement that fails: every cut against every placement that does not, by trying everything.

Two clusters share the estate. A cut may exclude nothing that outlives what is asked for, and must exclude what it was learnt of.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.failures.running import Running, Stand
from staddle.placement.data import Tables
from staddle.placement.learnt import Cut, Learnt, Place, Taken
from staddle.placement.model import (
    BestShown,
    ClusterRules,
    DiskNeed,
    HostRoom,
    MemberNeed,
    NoneExists,
    PoolRoom,
    Problem,
    Reserve,
    Seat,
    Survive,
)
from staddle.placement.model_cp import PlacementModel
from staddle.placement.reserve import ReserveCheck
from staddle.placement.solve import solve
from tests.placement.questions import every_valid
from tests.placement.test_placement_reserve_brute import (
    any_host,
    check,
    estates,
    hosts_of,
    member_of,
    outlives,
    question,
    scenario_of,
    sentences,
)

MOST_LEARNT_OF = 6


@st.composite
def tight(draw: st.DrawFn) -> Problem:
    """Three hosts or four, so full that it hangs on each member whether what is displaced finds room; cuts are what matters here.

    Some hosts may be taken fuller at rest than they offer after a failure: nobody has to mend that.
    """
    count = draw(st.integers(3, 4))
    shared = draw(st.booleans())
    rate = draw(st.sampled_from([1.0, 3.0]))
    pools = [("p",) if shared or n % 2 else ("p", "q") for n in range(count)]
    sites = [draw(st.sampled_from(["east", "east", "west"])) for _ in range(count)]
    guests = tuple(
        Running(
            name=f"g{n}-{k}",
            host=f"h{n}",
            memory_bytes=draw(st.integers(3, 6)),
            vcpus=draw(st.integers(1, 3)),
            pools=(draw(st.sampled_from(pools[n])),),
        )
        for n in range(count)
        for k in range(draw(st.integers(1, 3)))
    )
    held = [sum(g.memory_bytes for g in guests if g.host == f"h{n}") for n in range(count)]
    busy = [sum(g.vcpus for g in guests if g.host == f"h{n}") for n in range(count)]
    hosts = tuple(
        HostRoom(
            name=f"h{n}",
            memory_bytes=max(0, 20 - held[n]) + draw(st.sampled_from([0, 0, 2])),
            vcpus=max(0, int(5 * rate) - busy[n]),
            memory_total_bytes=22,
            networks=(),
            pools=pools[n],
            domains=(("rack", f"r{n // 2}"), ("site", sites[n])),
            vcpu_per_core=rate,
        )
        for n in range(count)
    )
    sizes = draw(st.sampled_from([(4, 4, 4), (3, 3, 5), (5, 2, 2), (3, 4, 5), (6, 6, 2)]))
    site = draw(st.sampled_from(["", "", "east"])) if "east" in sites else ""
    members = tuple(
        MemberNeed(
            name=f"m{n}",
            memory_bytes=size,
            vcpus=draw(st.integers(1, 2)) if n == 2 else 1,
            disks=(DiskNeed(disk_id="d", promised_bytes=1, written_bytes=1),),
            cluster="ab"[n % 2],
            site=site,
        )
        for n, size in enumerate(sizes)
    )
    names = tuple(dict.fromkeys(name for own in pools for name in own))
    offered = sentences(hosts, names)
    wanted = draw(st.lists(st.sampled_from(sorted(offered)), unique=True, min_size=1, max_size=2))
    asked = tuple(
        Survive(
            cluster="ab"[number], sentence=text, scenarios=offered[text], others_restart=draw(st.booleans())
        )
        for number, text in enumerate(wanted)
    )
    return Problem(
        members=members,
        hosts=hosts,
        pools=tuple(PoolRoom(name=n, free_bytes=50, promise_bytes=50, capacity_bytes=100) for n in names),
        clusters=(ClusterRules(name="a", apart=()), ClusterRules(name="b", apart=())),
        reserve=Reserve(
            survive=asked,
            machines=guests,
            stands=tuple(
                Stand(name=h.name, memory_bytes=20, cores=5, vcpu_per_core=rate, pools=h.pools, site=sites[n])
                for n, h in enumerate(hosts)
            ),
            apart_after=draw(st.sampled_from([(), (), ("a",)])),
        ),
    )


@st.composite
def shared(draw: st.DrawFn, *, full: int | None = None) -> Problem:
    """An estate for two clusters, hosts at two sites, some without a network, some with more to add for each guest."""
    problem = draw(estates(full=full, sizes=(1, 2, 3, 5) if full is None else (1, 2, 3, 20)))
    reserve = problem.reserve
    assert reserve is not None
    networks = [draw(st.sampled_from([("n",), ("n",), ()])) for _ in problem.hosts]
    sites = [draw(st.sampled_from(["east", "east", "west"])) for _ in problem.hosts]
    extra = [draw(st.sampled_from([0.0, 0.0, 30.0])) for _ in problem.hosts]
    both = draw(st.booleans())
    names = ("a", "b") if both else ("a",)
    owner = [draw(st.sampled_from(names)) for _ in problem.members]
    asks_site, asks_network = draw(st.booleans()), draw(st.booleans())
    return replace(
        problem,
        hosts=tuple(
            replace(h, networks=n, domains=(*h.domains, ("site", s)), guest_overhead_percent=e)
            for h, n, s, e in zip(problem.hosts, networks, sites, extra, strict=True)
        ),
        members=tuple(
            replace(
                m,
                cluster=c,
                site="east" if asks_site and "east" in sites else "",
                networks=("n",) if asks_network else (),
                leads="never",
            )
            for m, c in zip(problem.members, owner, strict=True)
        ),
        clusters=tuple(ClusterRules(name=name, apart=problem.clusters[0].apart) for name in names),
        reserve=replace(
            reserve,
            survive=tuple(replace(row, cluster=name) for row in reserve.survive for name in names),
            stands=tuple(
                replace(stand, networks=n, site=s)
                for stand, n, s in zip(reserve.stands, networks, sites, strict=True)
            ),
            apart_after=names[:1] if reserve.apart_after else (),
        ),
    )


def excluded(problem: Problem, cut: Cut, seats: Sequence[Seat]) -> bool:
    """Whether there is a member for each of what the cut names, by trying one after the other."""
    tables = Tables(problem)
    waiting = [row for row in cut.taken for _ in range(row.count)]

    def counts(row: Taken, position: int) -> bool:
        member, seat = problem.members[position], seats[position]
        pools = tuple(pool for _, pool in seat.disks)
        if tables.class_of[member.name] not in row.classes:
            return False
        if seat.host in row.place.hosts:
            return True
        return (
            seat.host in row.place.failed
            and not set(pools) & set(cut.lost_pools)
            and row.place.pools in (None, pools)
        )

    def rest(at: int, used: frozenset[int]) -> bool:
        if at == len(waiting):
            return True
        return any(
            rest(at + 1, used | {i}) for i in range(len(seats)) if i not in used and counts(waiting[at], i)
        )

    return rest(0, frozenset())


def check_cuts(problem: Problem, *, without: frozenset[str] = frozenset()) -> None:
    """Args: without: groups of rules that do not hold, as in a search for the rules in conflict."""
    tables = Tables(problem)
    active = frozenset(row.name for row in tables.groups) - without
    free = replace(problem, reserve=None)
    if without:
        roomy = tuple(
            replace(h, memory_bytes=10**6, memory_total_bytes=10**7, vcpus=10**6) for h in free.hosts
        )
        free = replace(free, hosts=roomy)
    valid = every_valid(free)
    good = [seats for seats in valid if outlives(problem, seats)]
    bad = [seats for seats in valid if seats not in good]
    reserve = ReserveCheck(tables)
    for seats in bad[:: max(1, len(bad) // MOST_LEARNT_OF)]:
        for cut in reserve.check(seats, active).learnt.cuts:
            assert {cut.group, *cut.assumed} <= active
            assert excluded(problem, cut, seats)
            assert not any(excluded(problem, cut, other) for other in good)


@settings(max_examples=60, deadline=None)
@given(problem=tight())
def test_no_cut_excludes_what_outlives_everything_where_it_is_tight(problem: Problem) -> None:
    check_cuts(problem)


@settings(max_examples=25, deadline=None)
@given(problem=tight(), without=st.sampled_from(["memory", "vcpus"]))
def test_nor_where_it_is_tight_and_hosts_may_be_overcommitted(problem: Problem, without: str) -> None:
    check_cuts(problem, without=frozenset({without}))


@settings(max_examples=25, deadline=None)
@given(problem=tight())
def test_where_it_is_tight_the_outcome_is_that_of_every_placement(problem: Problem) -> None:
    outcome = solve(problem)
    good = [seats for seats in every_valid(replace(problem, reserve=None)) if outlives(problem, seats)]
    assert isinstance(outcome, BestShown if good else NoneExists)


@settings(max_examples=40, deadline=None)
@given(problem=shared())
def test_no_cut_excludes_what_outlives_everything(problem: Problem) -> None:
    check_cuts(problem)


@settings(max_examples=20, deadline=None)
@given(problem=shared(full=95))
def test_nor_on_a_full_estate(problem: Problem) -> None:
    check_cuts(problem)


@settings(max_examples=25, deadline=None)
@given(problem=shared(), without=st.sampled_from(["memory", "vcpus"]))
def test_nor_where_hosts_may_be_overcommitted(problem: Problem, without: str) -> None:
    check_cuts(problem, without=frozenset({without}))


@settings(max_examples=25, deadline=None)
@given(problem=shared())
def test_two_clusters_with_a_reserve_against_every_placement(problem: Problem) -> None:
    check(problem)


@settings(max_examples=10, deadline=None)
@given(problem=shared(full=98))
def test_two_clusters_with_a_reserve_on_a_full_estate(problem: Problem) -> None:
    outcome = solve(problem)
    good = [seats for seats in every_valid(replace(problem, reserve=None)) if outlives(problem, seats)]
    assert isinstance(outcome, BestShown if good else NoneExists)


# a cut in the model, by hand


def allowed(problem: Problem, cut: Cut) -> set[tuple[str, ...]]:
    """The hosts of the members, in their order, that the model leaves possible beside that cut; by trying every choice."""
    from ortools.sat.python import cp_model

    tables = Tables(problem)
    active = frozenset(row.name for row in tables.groups)
    found = set()
    for seats in every_valid(replace(problem, reserve=None)):
        model = PlacementModel(tables, active, Learnt(cuts=(cut,)))
        for variable, value in model.values_of(seats):
            model.cp.add(variable == value)
        if cp_model.CpSolver().solve(model.cp) in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            found.add(tuple(seat.host for seat in seats))
    return found


def two_members() -> Problem:
    """Of different sizes, anywhere on three hosts that share a pool p; h0 alone reaches q."""
    hosts = hosts_of(20, 20, 20, pools=(("p", "q"), ("p",), ("p",)))
    members = [member_of("m0", 5), member_of("m1", 6)]
    problem = question(hosts, [any_host(hosts)], members=members)
    assert len(Tables(problem).classes) == 2
    return problem


def test_no_member_counts_for_two_places_that_overlap() -> None:
    # One in {h0, h1} and one on h0: both on h0, or one there and one on h1; not one on h0 that counts for both.
    rows = (
        Taken(classes=(0, 1), place=Place(hosts=frozenset({"h0", "h1"})), count=1),
        Taken(classes=(0, 1), place=Place(hosts=frozenset({"h0"})), count=1),
    )
    cut = Cut(group="survive:any host", taken=rows)
    every = set(product(("h0", "h1", "h2"), repeat=2))
    assert allowed(two_members(), cut) == every - {("h0", "h0"), ("h0", "h1"), ("h1", "h0")}


def test_a_member_that_is_lost_with_its_pool_does_not_count() -> None:
    # h0 fails with q: on h0 with its disk in p it restarts and counts, in q it is gone.
    row = Taken(classes=(0,), place=Place(failed=frozenset({"h0"})), count=1)
    hosts = hosts_of(20, 20, 20, pools=(("p", "q"), ("p",), ("p",)))
    asked = Survive(sentence="any host", scenarios=(scenario_of(("h0",), ("q",)),))
    problem = question(hosts, [asked], members=[member_of("m0", 5)])
    kept = allowed(problem, Cut(group="survive:any host", taken=(row,), lost_pools=("q",)))
    assert kept == {("h0",), ("h1",), ("h2",)}
    assert allowed(problem, Cut(group="survive:any host", taken=(row,))) == {("h1",), ("h2",)}


def test_a_cut_is_left_out_where_what_it_rests_on_does_not_hold() -> None:
    row = Taken(classes=(0,), place=Place(hosts=frozenset({"h0", "h1", "h2"})), count=1)
    problem = replace(two_members(), members=(member_of("m0", 5),))
    assert allowed(problem, Cut(group="survive:any host", taken=(row,))) == set()
    resting = Cut(group="survive:any host", taken=(row,), assumed=frozenset({"site:ousemoor"}))
    assert allowed(problem, resting) == {("h0",), ("h1",), ("h2",)}
