"""The independent checker: a valid placement passes, and each single breach is named and is the only one named."""

from dataclasses import replace

import pytest

from staddle.placement.model import Problem, Seat
from staddle.placement.verify import broken_rules
from tests.placement.questions import GB, GIB, host, member, ousemoor, pool


def seat(name: str, at: str, in_pool: str) -> Seat:
    return Seat(member=name, host=at, disks=(("data", in_pool),))


SEATS = (
    seat("sl1", "om-h1", "pool-om-r1"),
    seat("sl2", "om-h3", "pool-om-r2"),
    seat("sl3", "om-h5", "pool-om-r3"),
)


def with_member(**changes: object) -> Problem:
    problem = ousemoor()
    return replace(problem, members=(replace(problem.members[0], **changes), *problem.members[1:]))  # type: ignore[arg-type]


def with_host(**changes: object) -> Problem:
    problem = ousemoor()
    return replace(problem, hosts=(replace(problem.hosts[0], **changes), *problem.hosts[1:]))  # type: ignore[arg-type]


def with_pool(**changes: object) -> Problem:
    problem = ousemoor()
    return replace(problem, pools=(replace(problem.pools[0], **changes), *problem.pools[1:]))  # type: ignore[arg-type]


def test_valid_seats_break_nothing() -> None:
    assert broken_rules(ousemoor(), SEATS) == ()


@pytest.mark.parametrize(
    ("problem", "seats", "broken"),
    [
        (ousemoor(), SEATS[:2], "seats: sl3 has 0 seats, not one"),
        (ousemoor(), (*SEATS, SEATS[0]), "seats: sl1 has 2 seats, not one"),
        (
            ousemoor(),
            (*SEATS[:2], seat("sl3", "om-h9", "pool-om-r3")),
            "seats: sl3 stands on om-h9, which is no host",
        ),
        (
            ousemoor(),
            (*SEATS[:2], seat("sl3", "om-h5", "pool-9")),
            "seats: disk data of sl3 is on pool-9, which is no pool",
        ),
        (
            ousemoor(),
            (*SEATS[:2], Seat(member="sl3", host="om-h5", disks=())),
            "seats: the disks of sl3 are not data",
        ),
        (
            with_host(memory_bytes=16 * GIB - 1),
            SEATS,
            f"memory: om-h1 has {16 * GIB - 1} bytes left, its members need {16 * GIB}",
        ),
        (with_host(vcpus=7), SEATS, "vcpus: om-h1 has 7 vCPUs left, its members need 8"),
        (with_host(node_cores=7), SEATS, "numa: sl1 has more vCPUs than one node of om-h1 has cores"),
        (
            with_host(node_memory_bytes=16 * GIB - 1),
            SEATS,
            "numa: sl1 has more memory than one node of om-h1",
        ),
        (
            with_host(cpu_level="level-3"),
            SEATS,
            "cpu-level: members that hold data stand on hosts of 2 CPU levels",
        ),
        (
            with_member(cpu_levels=("level-5", "level-6")),
            SEATS,
            "cpu-level: om-h1 is of level level-4, sl1 needs level-5 or level-6",
        ),
        (with_host(networks=("mgmt",)), SEATS, "networks: om-h1 lacks data, which sl1 is attached to"),
        (
            with_host(pools=("pool-om-r2",)),
            SEATS,
            "pool-reach: om-h1 does not reach pool-om-r1, disk data of sl1",
        ),
        (
            with_pool(free_bytes=100 * GB - 1),
            SEATS,
            f"pool-free: pool-om-r1 has {100 * GB - 1} bytes above its floor, {100 * GB} are needed",
        ),
        (
            with_pool(promise_bytes=100 * GB - 1),
            SEATS,
            f"pool-promise: pool-om-r1 may promise {100 * GB - 1} bytes, {100 * GB} are needed",
        ),
        (
            ousemoor(allowed_pools=("pool-om-r2", "pool-om-r3")),
            SEATS,
            "pools-named: pool-om-r1, disk data of sl1, is not among the design's pools",
        ),
        (
            ousemoor(),
            (SEATS[0], seat("sl2", "om-h2", "pool-om-r1"), SEATS[2]),
            "apart:rack: sl1 and sl2 share rack om-r1",
        ),
        (
            ousemoor(apart=("host",), majority_kinds=()),
            (SEATS[0], SEATS[1], seat("sl3", "om-h1", "pool-om-r1")),
            "apart:host: sl1 and sl3 share host om-h1",
        ),
        (
            ousemoor(apart=(), majority_kinds=(), deputy_apart=("rack",)),
            (SEATS[0], seat("sl2", "om-h2", "pool-om-r1"), SEATS[2]),
            "deputy-apart:rack: sl1 and sl2 share rack om-r1",
        ),
        (
            ousemoor(apart=("host",), majority_kinds=("rack",)),
            (SEATS[0], SEATS[1], seat("sl3", "om-h2", "pool-om-r1")),
            "majority:rack: rack om-r1 holds 2 of 3 votes",
        ),
        (with_member(site="tollgate"), SEATS, "site: sl1 stands on om-h1, which is not at tollgate"),
        (with_member(pinned_to="om-h2"), SEATS, "pin: sl1 stands on om-h1, not on om-h2"),
        (
            with_member(keep_out=("om-r1",)),
            SEATS,
            "keep-out: sl1 is touched by om-r1, which it keeps out of",
        ),
        (
            with_member(keep_out=("pool-om-r1",)),
            SEATS,
            "keep-out: sl1 is touched by pool-om-r1, which it keeps out of",
        ),
    ],
)
def test_single_breach_is_named(problem: Problem, seats: tuple[Seat, ...], broken: str) -> None:
    assert broken_rules(problem, seats) == (broken,)


def test_domain_reached_through_a_pool_counts_as_shared() -> None:
    problem = ousemoor(
        members=(member("sl1"), member("sl2")),
        hosts=(host("a", "r1", pools=("p1",)), host("b", "r2", pools=("p2",))),
        pools=tuple(pool(name, domains=(("array", "one"),)) for name in ("p1", "p2")),
        apart=("array",),
        majority_kinds=(),
    )
    seats = (seat("sl1", "a", "p1"), seat("sl2", "b", "p2"))
    assert broken_rules(problem, seats) == ("apart:array: sl1 and sl2 share array one",)
