"""The question that a design asks: each amount by hand from design, estate and package."""

from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any, Literal

import pytest

from demo.ousemoor_estate import demo_estate
from staddle.design.model import (
    Attachment,
    Design,
    DiskChoice,
    Job,
    Member,
    Names,
    PackageChoice,
    Storage,
)
from staddle.estate.bookings import Booking
from staddle.estate.model import Domain, Estate, Guest, Host, Network, Pool
from staddle.kernel import InputRefused
from staddle.package.model import Adapter, DiskDevice, Hardware, Package, PackageDisk, PlacementGroup, Size
from staddle.placement.model import BestShown, DiskNeed, NoneExists
from staddle.placement.problem import problem_from
from staddle.placement.solve import solve
from tests.placement.questions import GB, GIB


def design(**changes: Any) -> Design:  # noqa: ANN401  any field of the value
    fields: dict[str, Any] = {
        "job": Job(name="sluicelog", cluster="Ousemoor levels", estate="estate"),
        "package": PackageChoice(file="sluicelog.ova", profile="sluicelog"),
        "members": (
            Member(name="sl1", leads="first"),
            Member(name="sl2", leads="second"),
            Member(name="sl3", data=False, size="brook", site="tollgate", keep_out=("om-h1",)),
        ),
        "names": Names(zone="ousemoor.example"),
        "networks": (
            Attachment(package="management", estate="om-mgmt"),
            Attachment(package="telemetry", estate="om-data"),
        ),
    }
    return Design(**(fields | changes))


def package() -> Package:
    def hardware(size_id: str, processors: int, memory_bytes: int, networks: tuple[str, ...]) -> Hardware:
        return Hardware(
            size_id=size_id,
            processors=processors,
            memory_bytes=memory_bytes,
            disks=(DiskDevice(name="disk 1", disk_id="system"), DiskDevice(name="disk 2", disk_id="store")),
            adapters=tuple(Adapter(name=n, network=n) for n in networks),
        )

    return Package(
        name="sluicelog",
        product="Sluicelog",
        vendor="",
        version="4.2.0",
        ovf_edition="1",
        descriptor_name="sluicelog.ovf",
        descriptor_sha256="0" * 64,
        has_manifest=True,
        has_certificate=False,
        sizes=(Size(size_id="brook", label="Brook"), Size(size_id="river", label="River", is_default=True)),
        hardware=(
            hardware("brook", 2, 4 * GIB, ("management",)),
            hardware("river", 8, 16 * GIB, ("management", "telemetry")),
        ),
        files=(),
        disks=(
            PackageDisk(disk_id="system", capacity_bytes=40 * GB, populated_bytes=3 * GB, file_id="file1"),
            PackageDisk(disk_id="store", capacity_bytes=500 * GB),
        ),
        networks=("management", "telemetry"),
        properties=(),
        licences=(),
    )


def estate() -> Estate:
    def host(name: str, rack: str, pool: str) -> Host:
        return Host(
            name=name,
            domains=(rack,),
            cores=32,
            memory_bytes=256 * GIB,
            reserved_memory_bytes=8 * GIB,
            vcpu_per_core=1.3,
            cpu_level="level-4",
            networks=("om-mgmt", "om-data"),
            pools=(pool,),
            numa_nodes=2,
        )

    return Estate(
        name="Ousemoor",
        surveyed=date(2026, 11, 2),
        surveyed_by="survey",
        domains=(
            Domain(name="ousemoor", kind="site"),
            Domain(name="tollgate", kind="site"),
            Domain(name="om-r1", kind="rack", inside="ousemoor"),
            Domain(name="om-r2", kind="rack", inside="ousemoor"),
            Domain(name="tg-r1", kind="rack", inside="tollgate"),
        ),
        hosts=(
            host("om-h1", "om-r1", "om-p1"),
            host("om-h2", "om-r2", "om-p1"),
            host("tg-h1", "tg-r1", "tg-p1"),
        ),
        pools=(
            Pool(
                name="om-p1",
                domains=("ousemoor",),
                capacity_bytes=4000 * GB,
                used_bytes=1000 * GB,
                promised_bytes=1500 * GB,
                floor_percent=15,
                promise_limit=1.1,
            ),
            Pool(
                name="tg-p1",
                domains=("tg-h1",),
                capacity_bytes=1000 * GB,
                used_bytes=900 * GB,
                promised_bytes=0,
                floor_percent=15,
            ),
        ),
        networks=(
            Network(name="om-mgmt", prefix="192.0.2.0/24"),
            Network(name="om-data", prefix="198.51.100.0/24"),
        ),
        guests=(
            Guest(
                name="gauge", host="om-h1", memory_bytes=60 * GIB, vcpus=10, pool="om-p1", disk_bytes=100 * GB
            ),
        ),
    )


def booking(host: str, pool: str, **amounts: Any) -> Booking:  # noqa: ANN401  any field of the value
    return Booking(
        booking_id="b1",
        job="other",
        rollout="r1",
        host=host,
        pool=pool,
        made_by="E. Marsh",
        made_at=datetime(2026, 11, 1, tzinfo=UTC),
        until=datetime(2026, 12, 1, tzinfo=UTC),
        **amounts,
    )


def test_room_is_what_guests_and_bookings_leave() -> None:
    booked = booking(
        "om-h1", "om-p1", memory_bytes=20 * GIB, vcpus=4, disk_bytes=200 * GB, written_bytes=50 * GB
    )
    problem = problem_from(design=design(), estate=estate(), package=package(), bookings=(booked,))
    first = problem.hosts[0]
    assert first.memory_bytes == (256 - 8 - 60 - 20) * GIB
    assert first.vcpus == 41 - 10 - 4  # 32 cores × 1.3 = 41.6, rounded down
    assert (first.node_cores, first.node_memory_bytes) == (16, 128 * GIB)
    assert first.domains == (("rack", "om-r1"), ("site", "ousemoor"))
    pool = problem.pools[0]
    assert pool.free_bytes == (4000 - 600 - 1000 - 50) * GB
    assert pool.promise_bytes == (4400 - 1500 - 200) * GB


def test_pool_past_its_floor_has_nothing_left_and_stands_in_its_host() -> None:
    pool = problem_from(design=design(), estate=estate(), package=package()).pools[1]
    assert pool.free_bytes == 0
    assert pool.domains == (("host", "tg-h1"), ("rack", "tg-r1"), ("site", "tollgate"))


def test_members_need_what_their_size_asks_for() -> None:
    members = problem_from(design=design(), estate=estate(), package=package()).members
    assert [(m.memory_bytes, m.vcpus) for m in members] == [(16 * GIB, 8), (16 * GIB, 8), (4 * GIB, 2)]
    assert [m.networks for m in members] == [("om-mgmt", "om-data"), ("om-mgmt", "om-data"), ("om-mgmt",)]
    assert [m.leads for m in members] == ["first", "second", "never"]
    assert (members[2].data, members[2].site, members[2].keep_out) == (False, "tollgate", ("om-h1",))


def test_thick_disks_are_written_in_advance_with_allowances_for_snapshots_and_swap() -> None:
    storage = Storage(swap_percent=50, snapshot_percent=15)
    members = problem_from(design=design(storage=storage), estate=estate(), package=package()).members
    system_bytes = 46 * GB + 8 * GIB  # 40 GB, 15 % of it, half of 16 GiB
    assert members[0].disks == (
        DiskNeed(disk_id="system", promised_bytes=system_bytes, written_bytes=system_bytes),
        DiskNeed(disk_id="store", promised_bytes=575 * GB, written_bytes=575 * GB),
    )


def test_thin_disks_are_promised_whole_and_written_as_far_as_they_are_filled() -> None:
    storage = Storage(
        allocation="thin",
        disks=(DiskChoice(disk="store", allocation="thin", capacity="600 GB"),),
        snapshot_percent=10,
    )
    members = problem_from(design=design(storage=storage), estate=estate(), package=package()).members
    assert members[0].disks == (
        DiskNeed(disk_id="system", promised_bytes=44 * GB, written_bytes=7 * GB),
        DiskNeed(disk_id="store", promised_bytes=660 * GB, written_bytes=60 * GB),
    )


@pytest.mark.parametrize(
    ("own", "of_parent", "written"),
    [
        (
            2 * GB,
            3 * GB,
            5 * GB,
        ),  # DSP0243, parentRef: a disk holds what differs from its parent, and both are kept
        (
            39 * GB,
            3 * GB,
            40 * GB,
        ),  # a child's blocks replace its parent's: never more than the disk can hold
        (None, 3 * GB, 40 * GB),  # not stated: taken for full
        (2 * GB, None, 40 * GB),
    ],
)
def test_a_thin_disk_on_a_parent_is_written_with_the_parent_once(
    own: int | None, of_parent: int | None, written: int
) -> None:
    plain = package()
    disks = (
        PackageDisk(
            disk_id="system", capacity_bytes=40 * GB, populated_bytes=own, file_id="file2", parent_id="base"
        ),
        PackageDisk(disk_id="base", capacity_bytes=40 * GB, populated_bytes=of_parent, file_id="file1"),
        *plain.disks[1:],
    )
    members = problem_from(
        design=design(storage=Storage(allocation="thin", snapshot_percent=0)),
        estate=estate(),
        package=replace(plain, disks=disks),
    ).members
    assert members[0].disks[0] == DiskNeed(disk_id="system", promised_bytes=40 * GB, written_bytes=written)


def test_percentages_are_rounded_up() -> None:
    storage = Storage(snapshot_percent=0, swap_percent=33)
    disks = problem_from(design=design(storage=storage), estate=estate(), package=package()).members[0].disks
    assert disks[0].promised_bytes == 40 * GB + 5_669_356_831  # 17179869184 × 0.33 = 5669356830.72


@pytest.mark.parametrize(
    ("rows", "apart", "deputy", "majority"),
    [
        (("host",), {"host": 1}, (), ()),
        (("rack",), {"rack": 1}, ("host",), ()),
        (("2 a rack", "votes by site"), {"rack": 2}, ("host",), ("site",)),
        (("host", "deputy by rack"), {"host": 1}, ("rack",), ()),
        ((), {}, ("host",), ()),
    ],
)
def test_rules_of_the_design(
    rows: tuple[str, ...], apart: dict[str, int], deputy: tuple[str, ...], majority: tuple[str, ...]
) -> None:
    (rules,) = problem_from(design=design(apart=rows), estate=estate(), package=package()).clusters
    assert {row.kind: row.most for row in rules.apart} == apart
    assert (rules.deputy_apart, rules.majority_kinds) == (deputy, majority)


@pytest.mark.parametrize(
    ("members", "asked", "least"),
    [(1, (), 0), (2, (), 1), (3, (), 2), (5, (), 3), (5, ("afterwards 4 data members",), 4)],
)
def test_how_many_data_members_must_be_left(members: int, asked: tuple[str, ...], least: int) -> None:
    wanted = design(
        members=tuple(Member(name=f"sl{n}") for n in range(members)), survive=("any 1 host", *asked)
    )
    reserve = problem_from(design=wanted, estate=estate(), package=package()).reserve
    assert reserve is not None
    assert [row.least_data for row in reserve.survive] == [least]


@pytest.mark.parametrize(
    ("policy", "rows", "apart", "together"),
    [
        # DSP0243's placement policies: availability and affinity, as the reader names them.
        ("apart", ("rack",), {"rack": 1, "host": 1}, ()),
        ("apart", ("host",), {"host": 1}, ()),
        ("together", ("host",), {"host": 1}, ("site",)),
    ],
)
def test_a_placement_group_of_the_package_is_honoured(
    policy: Literal["apart", "together"],
    rows: tuple[str, ...],
    apart: dict[str, int],
    together: tuple[str, ...],
) -> None:
    group = PlacementGroup(group_id="g", policy=policy, contents=("vm",), info="")
    grouped = replace(package(), placement_groups=(group,), placement_group="g")
    (rules,) = problem_from(design=design(apart=rows), estate=estate(), package=grouped).clusters
    assert ({row.kind: row.most for row in rules.apart}, rules.together) == (apart, together)


def test_question_of_a_design_can_be_solved() -> None:
    asked = design(members=(Member(name="sl1"), Member(name="sl2")))
    outcome = solve(problem_from(design=asked, estate=estate(), package=package()))
    assert isinstance(outcome, BestShown)
    assert [seat.host for seat in outcome.placement.seats] == ["om-h1", "om-h2"]
    # om-h1 holds 8 + 60 + 16 of 256 GiB = 328.1 per mille; om-h2 less
    assert dict(outcome.placement.levels)["host fill"] == 329


def test_three_members_stand_on_the_demo_estate() -> None:
    asked = design(
        members=(
            Member(name="sl1", leads="first", site="Ousemoor"),
            Member(name="sl2", leads="second", site="Ousemoor"),
            Member(name="sl3", site="Ousemoor"),
        ),
        apart=("host", "rack", "pool"),
        networks=(
            Attachment(package="management", estate="om-management"),
            Attachment(package="telemetry", estate="om-telemetry"),
        ),
    )
    problem = problem_from(design=asked, estate=demo_estate(surveyed=date(2026, 11, 2)), package=package())
    outcome = solve(problem)
    assert isinstance(outcome, BestShown)
    racks = {h.name: dict(h.domains)["rack"] for h in problem.hosts}
    assert len({racks[seat.host] for seat in outcome.placement.seats}) == 3


def test_demo_estate_has_no_three_racks_of_one_cpu_level() -> None:
    asked = design(
        members=tuple(Member(name=f"sl{n}", site="Ousemoor") for n in (1, 2, 3)),
        apart=("host", "rack", "data on one CPU level"),
        networks=(
            Attachment(package="management", estate="om-management"),
            Attachment(package="telemetry", estate="om-telemetry"),
        ),
    )
    surveyed = demo_estate(surveyed=date(2026, 11, 2))
    outcome = solve(problem_from(design=asked, estate=surveyed, package=package()))
    assert isinstance(outcome, NoneExists)
    assert {rule.name for rule in outcome.conflict} == {"one-cpu-level", "apart:rack", "site:Ousemoor"}


def test_every_fault_of_design_against_estate_and_package_is_told_at_once() -> None:
    asked = design(
        members=(Member(name="sl1"), Member(name="sl2", data=False, size="estuary")),
        storage=Storage(disks=(DiskChoice(disk="logs"), DiskChoice(disk="store", capacity="499 GB"))),
        networks=(Attachment(package="management", estate="om-mgnt"),),
    )
    with pytest.raises(InputRefused) as refused:
        problem_from(design=asked, estate=estate(), package=package())
    assert [fault.what for fault in refused.value.faults] == [
        'there is no network "om-mgnt" on the estate',
        'the package has no disk "logs"',
        'disk "store" shall have 499 GB, the package\'s has 500 GB',
        'the package has no size "estuary"',
    ]
