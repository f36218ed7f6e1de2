"""Rules of placed.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.placement.model import Problem
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import GIB, SEATS, facts_of, seat, with_guest, with_host

__all__ = ["FIRES", "QUIET"]


def _with_vcpus_left(host: str, vcpus: int) -> Problem:
    problem = facts_of().get_problem()
    hosts = tuple(replace(room, vcpus=vcpus) if room.name == host else room for room in problem.hosts)
    return replace(problem, hosts=hosts)


def _surveyed(**stands: tuple[str, str]) -> Callable[[], Facts]:
    """Members as a survey after the rollout sees them, each (host, pool); what they take is on the estate already."""
    guests = tuple(
        replace(
            with_guest().guests[0],
            name=name.replace("_", "-"),
            host=host,
            pool=pool,
            memory_bytes=GIB,
            vcpus=1,
            disk_bytes=0,
        )
        for name, (host, pool) in stands.items()
    )
    return lambda: facts_of(estate=replace(with_guest(), guests=guests))


def _not_kept(what: str, where: str) -> Finding:
    return Finding(
        rule="placement-not-kept",
        severity=Severity.RISK,
        what=what,
        where=where,
        why="somebody, or a platform that balances by itself, has moved it; one failure may now take more than it should",
        mend="move it back and set what the answer sheet says under 'to set on the platform'; or place anew and settle that",
        source=PRACTICE,
    )


FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "placement-not-askable": [
        (
            lambda: facts_of(("estate: telemetry", "estate: telemetri")),
            (
                Finding(
                    rule="placement-not-askable",
                    severity=Severity.STOP,
                    what='there is no network "telemetri" on the estate',
                    where="networks",
                    why="its networks are management, telemetry",
                    mend="name one of these",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "placement-not-kept": [
        (
            _surveyed(levels_1=("tg-h1", "tg-store-1"), levels_2=("tg-h1", "tg-store-1")),
            (
                _not_kept(
                    "levels-1, levels-2 run on one host, tg-h1; at most 1 of levels-1, levels-2, levels-3 should",
                    "levels-1, levels-2",
                ),
                _not_kept(
                    "levels-1 runs on tg-h1, outside rack om-rack-1 and site Ousemoor; settled was om-h1",
                    "levels-1",
                ),
                _not_kept("levels-1 has a disk on pool tg-store-1; settled was om-store-1", "levels-1"),
            ),
        ),
    ],
    "placement-broken": [
        (
            lambda: facts_of(seats=(SEATS[0], SEATS[1], seat("levels-3", "om", 2))),
            (
                Finding(
                    rule="placement-broken",
                    severity=Severity.STOP,
                    what="site: levels-3 stands on om-h2, which is not at Lode",
                    where="placement.yaml",
                    why="estate, bookings or design have changed since it was settled",
                    mend="place the members again",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(seats=SEATS[:2]),
            (
                Finding(
                    rule="placement-broken",
                    severity=Severity.STOP,
                    what="seats: levels-3 has 0 seats, not one",
                    where="placement.yaml",
                    why="estate, bookings or design have changed since it was settled",
                    mend="place the members again",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "host-memory-full": [
        (
            lambda: facts_of(estate=with_guest(memory_bytes=190 * GIB)),
            (
                Finding(
                    rule="host-memory-full",
                    severity=Severity.RISK,
                    what="host om-h1 has 222 GiB of 256 GiB in use with its members, 86 %",
                    where="host om-h1",
                    why="nothing is left for guests that must restart here, nor for the growth of those that run",
                    mend="place the member elsewhere, or move guests away",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "many-vcpus-per-core": [
        (
            lambda: facts_of(estate=with_guest(vcpus=61)),
            (
                Finding(
                    rule="many-vcpus-per-core",
                    severity=Severity.RISK,
                    what="host om-h1 has 65 vCPUs on 32 cores with its members, 2.03 a core",
                    where="host om-h1",
                    why="members wait for a core when the others work; a cluster is as slow as its slowest member",
                    mend="place the member elsewhere, or move guests away",
                    source=PRACTICE,
                ),
            ),
        ),
        # Of 128 vCPUs (32 cores × 4) 52 are left: 16 run and 60 are booked for other jobs; with the member's 4, 80.
        (
            lambda: facts_of(problem=_with_vcpus_left("om-h1", 52)),
            (
                Finding(
                    rule="many-vcpus-per-core",
                    severity=Severity.RISK,
                    what="host om-h1 has 80 vCPUs on 32 cores with its members, 2.50 a core",
                    where="host om-h1",
                    why="members wait for a core when the others work; a cluster is as slow as its slowest member",
                    mend="place the member elsewhere, or move guests away",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "member-fills-numa-node": [
        # A host of one node: 16 of 17 GiB are 94 %.
        (
            lambda: facts_of(estate=with_host("om-h1", numa_nodes=1, memory_bytes=17 * GIB)),
            (
                Finding(
                    rule="member-fills-numa-node",
                    severity=Severity.RISK,
                    what="levels-1 has 16 GiB, one NUMA node of host om-h1 has 17 GiB",
                    where="host om-h1",
                    why="the host keeps some of each node for itself, so that part of the member's memory lies on another node, 1.3 to 2 times as far",
                    mend="take a smaller size and more members, or hosts with larger nodes",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(estate=with_host("om-h1", numa_nodes=16)),
            (
                Finding(
                    rule="member-fills-numa-node",
                    severity=Severity.RISK,
                    what="levels-1 has 16 GiB, one NUMA node of host om-h1 has 16 GiB",
                    where="host om-h1",
                    why="the host keeps some of each node for itself, so that part of the member's memory lies on another node, 1.3 to 2 times as far",
                    mend="take a smaller size and more members, or hosts with larger nodes",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "cpu-levels-differ": [
        (
            lambda: facts_of(estate=with_host("tg-h1", cpu_level="x86-64-v4")),
            (
                Finding(
                    rule="cpu-levels-differ",
                    severity=Severity.NOTE,
                    what='levels-1 on "x86-64-v3" (host om-h1); levels-2 on "x86-64-v4" (host tg-h1); levels-3 on "x86-64-v3" (host fl-h1)',
                    where="placement.yaml",
                    why="a member that moves between them sees another processor, and members are not equally fast",
                    mend="place them on hosts of one level, or let the platform level them to the oldest",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "placement-not-kept": [
        lambda: facts_of(),
        _surveyed(levels_1=("om-h1", "om-store-1"), levels_2=("tg-h1", "tg-store-1")),
        # A machine of another name is nobody's member.
        _surveyed(other_1=("tg-h1", "tg-store-1"), other_2=("tg-h1", "tg-store-1")),
    ],
    "placement-not-askable": [
        lambda: facts_of(),
    ],
    "placement-broken": [
        lambda: facts_of(),
    ],
    "host-memory-full": [
        lambda: facts_of(estate=with_guest(memory_bytes=185 * GIB)),
        # 16 kept by the host, 138 of the guest and 16 of the member are 170 of 200 GiB: 85 % to the byte.
        lambda: facts_of(
            estate=replace(
                with_host("om-h1", memory_bytes=200 * GIB),
                guests=with_guest(memory_bytes=138 * GIB).guests,
            )
        ),
    ],
    "many-vcpus-per-core": [
        lambda: facts_of(estate=with_guest(vcpus=60)),
        lambda: facts_of(problem=_with_vcpus_left("om-h1", 68)),
    ],
    "member-fills-numa-node": [
        lambda: facts_of(estate=with_host("om-h1", numa_nodes=8)),
        lambda: facts_of(estate=with_host("om-h2", numa_nodes=16)),
    ],
    "cpu-levels-differ": [
        lambda: facts_of(estate=with_host("tg-h2", cpu_level="x86-64-v4")),
    ],
}
