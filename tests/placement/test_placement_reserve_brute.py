"""What is left after a failure, against trying every placement and every restart; full estates and many domains too."""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from math import ceil

from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.failures.running import Running, Stand
from staddle.failures.scenario import Scenario
from staddle.placement.cost import level_values
from staddle.placement.data import Tables
from staddle.placement.learnt import Cut, Learnt, Place, Taken
from staddle.placement.model import (
    Apart,
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
from staddle.placement.solve import kept, solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import every_valid

# the rules once more, in plain loops


def cores(machine: Running, stand: Stand) -> int:
    """Thousandths of a core."""
    rate = stand.vcpu_per_core if machine.vcpu_per_core is None else machine.vcpu_per_core
    return ceil(1000 * machine.vcpus / Fraction(str(rate)))


def restarts(machines: Sequence[Running], stands: Sequence[Stand], scenario: Scenario) -> bool:
    """Whether everything displaced finds a host, by trying every host for each in turn."""
    gone = set(scenario.hosts)
    displaced = [m for m in machines if m.host in gone and not set(m.pools) & set(scenario.pools)]
    alive = [stand for stand in stands if stand.name not in gone]
    here: dict[str, list[Running]] = {s.name: [m for m in machines if m.host == s.name] for s in alive}

    def fits(machine: Running, stand: Stand) -> bool:
        there = [*here[stand.name], machine]
        return (
            set(machine.pools) <= set(stand.pools)
            and set(machine.networks) <= set(stand.networks)
            and (not machine.sites or stand.site in machine.sites)
            and sum(m.memory_bytes for m in there) <= stand.memory_bytes
            and sum(cores(m, stand) for m in there) <= 1000 * stand.cores
            and not any(m.apart and m.apart == machine.apart for m in here[stand.name])
        )

    def place(at: int) -> bool:
        if at == len(displaced):
            return True
        for stand in alive:
            if fits(displaced[at], stand):
                here[stand.name].append(displaced[at])
                if place(at + 1):
                    return True
                here[stand.name].pop()
        return False

    return place(0)


def ours(problem: Problem, seats: tuple[Seat, ...]) -> list[Running]:
    """The members as they run in these seats."""
    apart_after = problem.reserve.apart_after if problem.reserve else ()
    overhead = {h.name: h.guest_overhead_percent for h in problem.hosts}
    return [
        Running(
            name=f"our {m.name}",
            host=s.host,
            memory_bytes=ceil(m.memory_bytes * (100 + Fraction(str(overhead[s.host]))) / 100),
            vcpus=m.vcpus,
            vcpu_per_core=m.vcpu_per_core or None,
            pools=tuple({pool for _, pool in s.disks}),
            networks=m.networks,
            sites=(m.site,) if m.site else (),
            apart=f"our {m.cluster}" if m.cluster in apart_after else "",
        )
        for m, s in zip(problem.members, seats, strict=True)
    ]


def outlives(problem: Problem, seats: tuple[Seat, ...]) -> bool:
    """Whether the seats leave what every sentence asks for."""
    reserve = problem.reserve
    assert reserve is not None
    guests, members = list(reserve.machines), ours(problem, seats)
    for survive in reserve.survive:
        cluster = [
            (m, s) for m, s in zip(problem.members, seats, strict=True) if m.cluster == survive.cluster
        ]
        for scenario in survive.scenarios:
            left = [
                m
                for m, s in cluster
                if s.host not in scenario.hosts and not {p for _, p in s.disks} & set(scenario.pools)
            ]
            if len(left) < len(cluster):
                votes = sum(m.votes for m, _ in cluster)
                leading = sum(m.leads != "never" for m, _ in cluster)
                if sum(m.data for m in left) < survive.least_data:
                    return False
                if votes >= 3 and 2 * sum(m.votes for m in left) <= votes:
                    return False
                if leading >= 2 and all(m.leads == "never" for m in left):
                    return False
            if survive.others_restart and restarts([*guests, *members], reserve.stands, scenario):
                continue
            if survive.others_restart and restarts(guests, reserve.stands, scenario):
                return False
            staying = [g for g in guests if g.host not in scenario.hosts]
            if not restarts([*staying, *members], reserve.stands, scenario):
                return False
    return True


# estates


def scenario_of(hosts: Sequence[str], pools: Sequence[str] = ()) -> Scenario:
    named = (*(("host", name) for name in hosts), *(("pool", name) for name in pools))
    name = " + ".join(f"{kind} {own}" for kind, own in named)
    return Scenario(name=name, hosts=tuple(hosts), pools=tuple(pools), domains=named)


def sentences(hosts: Sequence[HostRoom], pools: Sequence[str]) -> dict[str, tuple[Scenario, ...]]:
    """What a design can ask for on these hosts."""
    names = [host.name for host in hosts]
    racks = dict.fromkeys(name for host in hosts for kind, name in host.domains if kind == "rack")
    return {
        "any host": tuple(scenario_of((name,)) for name in names),
        "any 2 hosts": tuple(scenario_of(pair) for pair in combinations(names, 2)),
        "any rack": tuple(
            scenario_of([h.name for h in hosts if ("rack", rack) in h.domains]) for rack in racks
        ),
        "any pool": tuple(scenario_of((), (name,)) for name in pools),
        "named h0 and h1": (scenario_of(names[:2]),),
        f"named h1 and {pools[0]}": (scenario_of(names[1:2], pools[:1]),),
    }


@st.composite
def estates(
    draw: st.DrawFn, *, most_hosts: int = 4, full: int | None = None, sizes: tuple[int, ...] = (1, 2, 3, 5)
) -> Problem:
    """Hosts of 20 units (of 100 where ``full`` per cent are asked for), guests on them, and two or three members."""
    count = most_hosts if most_hosts > 5 else draw(st.integers(2, most_hosts))
    whole = 20 if full is None else 100
    shared, rate = draw(st.booleans()), draw(st.sampled_from([1.0, 2.0, 4.0]))
    members_count = draw(st.integers(1, 3 if count <= 5 else 2))
    stands: list[Stand] = []
    guests: list[Running] = []
    hosts: list[HostRoom] = []
    for n in range(count):
        pools = ("shared",) if shared else (f"p{n % 2}",)
        stand = Stand(name=f"h{n}", memory_bytes=whole, cores=40, vcpu_per_core=rate, pools=pools)
        stands.append(stand)
        used, goal = 0, draw(st.integers(0, 26)) if full is None else full - draw(st.integers(0, 1))
        if full is not None and n in (0, count - 1) and draw(st.booleans()):
            goal = draw(st.integers(40, 90))  # where the room is that the others restart in
        most_guests = 4 if count <= 5 else 1
        while used < goal and sum(g.host == stand.name for g in guests) < most_guests:
            rest = sum(g.host == stand.name for g in guests) == 3
            size = goal - used if rest and full is not None else draw(st.sampled_from(sizes))
            guests.append(
                Running(
                    name=f"g{n}-{used}",
                    host=stand.name,
                    memory_bytes=min(size, max(1, goal - used)),
                    vcpus=draw(st.integers(1, 8)),
                    vcpu_per_core=draw(st.sampled_from([None, None, 1.0])),
                    pools=pools,
                    apart=draw(st.sampled_from(["", "", f"group{used}"])),
                )
            )
            used += guests[-1].memory_bytes
        taken = sum(cores(g, stand) for g in guests if g.host == stand.name)
        hosts.append(
            HostRoom(
                name=stand.name,
                memory_bytes=max(0, whole - used),
                vcpus=max(0, int((40_000 - taken) * rate / 1000)),
                memory_total_bytes=whole,
                networks=(),
                pools=pools,
                domains=(("rack", f"r{n if count > 5 else n // 2}"),),
                vcpu_per_core=rate,
            )
        )
    names = tuple(dict.fromkeys(pool for host in hosts for pool in host.pools))
    needs = st.sampled_from(sizes)
    leads = ("first", "second", "never") if draw(st.booleans()) else ("never",) * 3
    alike = draw(needs) if draw(st.booleans()) else 0
    members = tuple(
        MemberNeed(
            name=f"m{i}",
            memory_bytes=alike or draw(needs),
            vcpus=draw(st.integers(1, 4)) if not alike else 2,
            vcpu_per_core=draw(st.sampled_from([0, 0, 1.0])) if not alike else 0,
            disks=(DiskNeed(disk_id="d", promised_bytes=1, written_bytes=1),),
            leads=leads[i],
        )
        for i in range(members_count)
    )
    offered = sentences(hosts, names)
    if count > 5:
        offered.pop("any 2 hosts")  # trying everything takes too long
    wanted = draw(st.lists(st.sampled_from(sorted(offered)), unique=True, min_size=1, max_size=2))
    apart = draw(st.sampled_from([(), (Apart(kind="host"),), (Apart(kind="host", most=2),)]))
    return Problem(
        members=members,
        hosts=tuple(hosts),
        pools=tuple(
            PoolRoom(name=name, free_bytes=50, promise_bytes=50, capacity_bytes=100) for name in names
        ),
        clusters=(ClusterRules(apart=apart),),
        reserve=Reserve(
            survive=tuple(
                Survive(
                    sentence=text,
                    scenarios=offered[text],
                    least_data=draw(st.integers(0, members_count - 1)),
                    others_restart=draw(st.sampled_from([True, True, False])),
                )
                for text in wanted
            ),
            machines=tuple(guests),
            stands=tuple(stands),
            apart_after=("",) if draw(st.booleans()) else (),
        ),
    )


def check(problem: Problem, *, optimum: bool = True) -> None:
    """The outcome is that of trying every placement."""
    outcome = solve(problem)
    good = [seats for seats in every_valid(replace(problem, reserve=None)) if outlives(problem, seats)]
    if not good:
        assert isinstance(outcome, NoneExists)
        return
    assert isinstance(outcome, BestShown)
    seats = outcome.placement.seats
    assert seats in good
    assert not outcome.placement.undecided
    assert not broken_rules(problem, seats)
    if optimum:
        tables = Tables(problem)
        assert level_values(tables, seats) == min(level_values(tables, other) for other in good)
    # What may be kept is what is good, neither more nor less.
    for other in (*good[:3], *every_valid(replace(problem, reserve=None))[:6]):
        assert (kept(replace(problem, settled=other)) is not None) == (other in good)


@settings(max_examples=40, deadline=None)
@given(problem=estates())
def test_reserve_against_every_placement_and_every_restart(problem: Problem) -> None:
    check(problem)


@settings(max_examples=15, deadline=None)
@given(problem=estates(full=95, most_hosts=4, sizes=(2, 3, 5, 20)))
def test_reserve_at_95_percent(problem: Problem) -> None:
    check(problem)


@settings(max_examples=15, deadline=None)
@given(problem=estates(full=98, most_hosts=4, sizes=(1, 2, 20)))
def test_reserve_at_98_percent(problem: Problem) -> None:
    check(problem)


@settings(max_examples=6, deadline=None)
@given(problem=estates(most_hosts=20, sizes=(5, 8, 12, 16)))
def test_reserve_with_twenty_domains(problem: Problem) -> None:
    assert len({key for host in problem.hosts for key in host.domains}) == 20
    outcome = solve(problem)
    valid = every_valid(replace(problem, reserve=None))
    if isinstance(outcome, NoneExists):
        assert not any(outlives(problem, seats) for seats in valid)
    else:
        assert isinstance(outcome, BestShown)
        assert outlives(problem, outcome.placement.seats)


# single cases that a search could get wrong


def hosts_of(
    *memory_bytes: int, pools: Sequence[tuple[str, ...]] = (), vcpus: int = 50
) -> tuple[HostRoom, ...]:
    """Empty hosts h0, h1 … of that memory at one vCPU per core, on pool p unless it is said."""
    return tuple(
        HostRoom(
            name=f"h{n}",
            memory_bytes=own,
            vcpus=vcpus,
            memory_total_bytes=own,
            networks=(),
            pools=pools[n] if pools else ("p",),
            domains=(),
            vcpu_per_core=1.0,
        )
        for n, own in enumerate(memory_bytes)
    )


def question(
    hosts: tuple[HostRoom, ...],
    asked: Sequence[Survive],
    *,
    members: Sequence[MemberNeed],
    guests: Sequence[Running] = (),
    apart: tuple[Apart, ...] = (),
    apart_after: tuple[str, ...] = (),
) -> Problem:
    """The guests take their room of the hosts."""
    stands = tuple(
        Stand(name=h.name, memory_bytes=h.memory_bytes, cores=h.vcpus, vcpu_per_core=1.0, pools=h.pools)
        for h in hosts
    )
    used = {h.name: sum(g.memory_bytes for g in guests if g.host == h.name) for h in hosts}
    names = dict.fromkeys(pool for h in hosts for pool in h.pools)
    return Problem(
        members=tuple(members),
        hosts=tuple(replace(h, memory_bytes=max(0, h.memory_bytes - used[h.name])) for h in hosts),
        pools=tuple(PoolRoom(name=n, free_bytes=50, promise_bytes=50, capacity_bytes=100) for n in names),
        clusters=(ClusterRules(apart=apart),),
        reserve=Reserve(survive=tuple(asked), machines=tuple(guests), stands=stands, apart_after=apart_after),
    )


def member_of(name: str, memory_bytes: int, **changes: object) -> MemberNeed:
    disks = (DiskNeed(disk_id="d", promised_bytes=1, written_bytes=1),)
    return replace(MemberNeed(name=name, memory_bytes=memory_bytes, vcpus=1, disks=disks), **changes)  # type: ignore[arg-type]  # fields of the value


def guest_of(name: str, host: str, memory_bytes: int, pool: str = "p") -> Running:
    return Running(name=name, host=host, memory_bytes=memory_bytes, vcpus=1, pools=(pool,))


def any_host(hosts: Sequence[HostRoom], **changes: object) -> Survive:
    rows = tuple(scenario_of((host.name,)) for host in hosts)
    return replace(Survive(sentence="any host", scenarios=rows), **changes)  # type: ignore[arg-type]  # fields of the value


def test_a_host_that_holds_more_than_it_offers_does_not_stand_in_the_way() -> None:
    # 54 of 20 are in use on h0 by the survey. As a sum the three hosts are too full; but nobody moves away from h0.
    hosts = hosts_of(20, 20, 20)
    guests = [guest_of(f"g{n}", "h0", 18) for n in range(3)]
    problem = question(hosts, [any_host(hosts[1:])], members=[member_of("m", 5)], guests=guests)
    check(problem)
    assert isinstance(solve(problem), BestShown)


def test_what_the_estate_does_not_outlive_alone_is_asked_for_our_own_only() -> None:
    # The guest of 15 on h0 finds no room on h1 (10 left) nor h2 (12 left), with us or without.
    hosts = hosts_of(20, 20, 20)
    guests = [guest_of("large", "h0", 15), guest_of("a", "h1", 10), guest_of("b", "h2", 8)]
    problem = question(hosts, [any_host(hosts)], members=[member_of("m", 4)], guests=guests)
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert outcome.placement.short_alone == ("host h0",)
    check(problem)
    # Our own member must still restart: of 13 it fits nowhere else, were it to stand on h2 (12 left) or not.
    tight = question(hosts_of(20, 30), [any_host(hosts_of(20, 30))], members=[member_of("m", 21)])
    assert isinstance(solve(tight), NoneExists)
    check(tight)


def test_a_failure_outlived_without_us_is_a_reason_to_stand_elsewhere() -> None:
    # With 6 of ours on h2, where the guest of h0 restarts, it would not; h1 is the fuller host, and taken.
    hosts = hosts_of(20, 20, 20)
    guests = [guest_of("g", "h0", 15), guest_of("a", "h1", 13), guest_of("b", "h2", 5)]
    problem = question(hosts, [any_host(hosts[:1])], members=[member_of("m", 6)], guests=guests)
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert outcome.placement.seats[0].host == "h1"
    check(problem)
    # Where the guests of others may stay down, it stands on the emptier one.
    free = question(
        hosts, [any_host(hosts[:1], others_restart=False)], members=[member_of("m", 6)], guests=guests
    )
    outcome = solve(free)
    assert isinstance(outcome, BestShown)
    assert outcome.placement.seats[0].host == "h2"
    check(free)


def test_afterwards_members_share_no_host() -> None:
    hosts = hosts_of(20, 20)
    two = [member_of("m0", 5), member_of("m1", 5)]
    apart = (Apart(kind="host"),)
    together = question(hosts, [any_host(hosts)], members=two, apart=apart)
    assert isinstance(solve(together), BestShown)
    alone = question(hosts, [any_host(hosts)], members=two, apart=apart, apart_after=("",))
    assert isinstance(solve(alone), NoneExists)
    check(alone)
    three = hosts_of(20, 20, 20)
    assert isinstance(
        solve(question(three, [any_host(three)], members=two, apart=apart, apart_after=("",))), BestShown
    )


def test_what_stops_wherever_it_stands_is_told_and_not_refused() -> None:
    # Of two votes one is left: not more than half. Of three two are, which is enough; and the only leader is lost with h0.
    hosts = hosts_of(20, 20, 20)
    apart = (Apart(kind="host"),)
    two = [member_of("m0", 5), member_of("m1", 5)]
    outcome = solve(question(hosts, [any_host(hosts, least_data=1)], members=two, apart=apart))
    assert isinstance(outcome, BestShown)
    taken = [f"host {seat.host}" for seat in outcome.placement.seats]
    assert sorted(outcome.placement.stops) == [
        (name, "1 of 2 votes are left, not more than half") for name in sorted(taken)
    ]
    three = [*two, member_of("m2", 5)]
    outcome = solve(question(hosts, [any_host(hosts, least_data=1)], members=three, apart=apart))
    assert isinstance(outcome, BestShown)
    assert outcome.placement.stops == ()
    led = [member_of("m0", 5, leads="first"), *three[1:]]
    outcome = solve(question(hosts, [any_host(hosts, least_data=1)], members=led, apart=apart))
    assert isinstance(outcome, BestShown)
    first = outcome.placement.get_seat("m0").host
    assert outcome.placement.stops == ((f"host {first}", "neither the leader nor its deputy is left"),)


def test_too_few_data_members_from_the_start_are_no_matter_where_nothing_is_lost() -> None:
    # Three are wanted of two. A failure of h0 takes none of them where both stand elsewhere.
    hosts = hosts_of(20, 20, 20)
    two = [member_of("m0", 5), member_of("m1", 5)]
    problem = question(hosts, [any_host(hosts[:1], least_data=3)], members=two, apart=(Apart(kind="host"),))
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert {seat.host for seat in outcome.placement.seats} == {"h1", "h2"}
    check(problem)


def test_any_two_of_many_hosts_is_learnt_where_it_cannot_be_written_down() -> None:
    # Five voters on six hosts: no two hosts may hold three of them. 15 pairs are more than there are domains.
    hosts = hosts_of(20, 20, 20, 4, 4, 4)
    pairs = tuple(scenario_of(pair) for pair in combinations([h.name for h in hosts], 2))
    survive = Survive(sentence="any 2 hosts", scenarios=pairs, least_data=3)
    members = [member_of(f"m{n}", 4) for n in range(5)]
    two = (Apart(kind="host", most=2),)
    problem = question(hosts, [survive], members=members, apart=two)
    assert len(pairs) > len(Tables(problem).fates)
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    assert outlives(problem, outcome.placement.seats)
    held = [sum(s.host == h.name for s in outcome.placement.seats) for h in hosts]
    assert max(held) == 1
    # Five members on four hosts: one host holds two, and with any other host that holds one three are lost.
    four = hosts_of(100, 100, 100, 100)
    fewer = tuple(scenario_of(pair) for pair in combinations([h.name for h in four], 2))
    few = question(four, [replace(survive, scenarios=fewer)], members=members, apart=two)
    assert isinstance(solve(few), NoneExists)


def test_a_cut_of_two_in_the_same_place_does_not_forbid_one_there() -> None:
    from ortools.sat.python import cp_model

    problem = question(
        hosts_of(20, 20), [any_host(hosts_of(20, 20))], members=[member_of("m0", 5), member_of("m1", 5)]
    )
    tables = Tables(problem)
    active = frozenset(group.name for group in tables.groups)

    def most_on_h0(count: int) -> int:
        taken = Taken(classes=(0,), place=Place(hosts=frozenset({"h0"})), count=count)
        model = PlacementModel(tables, active, Learnt(cuts=(Cut(group="survive:any host", taken=(taken,)),)))
        model.cp.maximize(sum(stand for (_, h), stand in model.stands.items() if h == 0))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        assert solver.solve(model.cp) == cp_model.OPTIMAL
        return round(solver.objective_value)

    assert most_on_h0(2) == 1
    assert most_on_h0(1) == 0
