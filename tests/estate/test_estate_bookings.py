"""The rule that nothing is promised twice: amounts by shown hand calculation and by an unhurried model."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.estate.bookings import (
    Booking,
    HostLeft,
    PoolLeft,
    faults_of,
    room_left,
    same_room,
    standing,
    until_faults,
)
from staddle.estate.model import Domain, Estate, Guest, Host, Pool
from staddle.kernel import InputRefused

GIB, TB, GB = 1024**3, 1000**4, 1000**3
NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def host(name: str = "om-h01", **other: object) -> Host:
    fields: dict[str, object] = {
        "domains": ("Ousemoor",),
        "cores": 15,
        "memory_bytes": 128 * GIB,
        "reserved_memory_bytes": 8 * GIB,
        "vcpu_per_core": 2.1,
        "cpu_level": "",
        "networks": (),
        "pools": ("om-pool",),
    }
    return Host(name=name, **(fields | other))  # type: ignore[arg-type]  # a table of mixed values


def estate(*hosts: Host) -> Estate:
    return Estate(
        name="Test",
        surveyed=date(2026, 11, 2),
        surveyed_by="W. Marram",
        domains=(Domain(name="Ousemoor", kind="site"),),
        hosts=hosts or (host(), host("om-h02", pools=())),
        pools=(
            Pool(
                name="om-pool",
                domains=(),
                capacity_bytes=20 * TB,
                used_bytes=12 * TB,
                promised_bytes=15 * TB,
                floor_percent=15.0,
                promise_limit=1.0,
            ),
        ),
        networks=(),
        guests=(
            Guest(name="g1", host="om-h01", memory_bytes=56 * GIB, vcpus=10, pool="om-pool", disk_bytes=TB),
        ),
    )


def booking(booking_id: str = "b1", **other: object) -> Booking:
    fields: dict[str, object] = {
        "job": "levels",
        "rollout": "r1",
        "host": "om-h01",
        "pool": "om-pool",
        "memory_bytes": 16 * GIB,
        "vcpus": 4,
        "disk_bytes": 176 * GB,
        "made_by": "W. Marram",
        "made_at": NOW,
        "until": NOW + timedelta(days=14),
    }
    return Booking(booking_id=booking_id, **(fields | other))  # type: ignore[arg-type]  # a table of mixed values


def told(new: list[Booking], existing: list[Booking] | None = None) -> list[str]:
    return [fault.what for fault in faults_of(new, existing or [], estate())]


def test_room_by_hand() -> None:
    left = room_left(estate(), [booking(), booking("b2", written_bytes=6 * GB)])
    # 128 - 8 kept - 56 of the guest - 2 × 16 = 32 GiB; 15 × 2.1 = 31.5 → 31 vCPUs, - 10 - 2 × 4 = 13
    assert left.hosts["om-h01"] == HostLeft(memory_bytes=32 * GIB, vcpus=13)
    # 20 - 3 floor - 12 written = 5 TB, - 176 GB - 6 GB; 20 - 15 promised = 5 TB, - 2 × 176 GB
    assert left.pools["om-pool"] == PoolLeft(free_bytes=5 * TB - 182 * GB, promise_bytes=5 * TB - 352 * GB)


def test_the_limit_of_vcpus_is_the_written_number_and_not_its_binary_neighbour() -> None:
    assert int(100 * 4.35) == 434  # 434.99999999999994: the trap is real
    left = room_left(estate(host(cores=100, vcpu_per_core=4.35)), [])
    assert left.hosts["om-h01"].vcpus == 435 - 10


def test_what_exactly_fits_is_promised() -> None:
    assert told([booking(memory_bytes=64 * GIB, vcpus=21, disk_bytes=5 * TB)]) == []


def test_every_fault_is_told_at_once() -> None:
    new = [
        booking("b1", memory_bytes=60 * GIB, vcpus=20, disk_bytes=4 * TB),
        booking("b2", memory_bytes=5 * GIB, vcpus=2, disk_bytes=2 * TB, written_bytes=0),
        booking("b3", host="om-h09", pool="", disk_bytes=0),
        booking("b4", host="om-h02"),
    ]
    held = [booking("b0", job="maps", memory_bytes=0, vcpus=0, disk_bytes=TB)]
    assert told(new, held) == [
        'booking "b3" names host "om-h09", which is not on the estate',
        'booking "b4" names pool "om-pool", which host "om-h02" does not reach',
        'host "om-h01" has 64 GiB of memory left, 65 GiB are asked for',
        'host "om-h01" has 21 vCPUs left, 22 are asked for',
        'pool "om-pool" has 4 TB left above its floor, 4.18 TB would be written',
        'pool "om-pool" may promise 4 TB more, 6.18 TB are asked for',
    ]


def test_the_reason_names_who_holds_the_room() -> None:
    held = [booking("b0", job="maps", memory_bytes=56 * GIB)]
    (fault,) = faults_of([booking()], held, estate())
    assert fault.lines() == (
        'host "om-h01" has 8 GiB of memory left, 16 GiB are asked for',
        '  why:   of 128 GiB it keeps 8 GiB; 56 GiB are booked there for "maps"',
        "  try:   take another host, or have a booking released",
    )


def test_a_repeat_takes_no_more_room() -> None:
    held = booking(memory_bytes=64 * GIB)
    again = replace(
        held, made_at=NOW + timedelta(hours=1), until=NOW + timedelta(days=20), made_by="R. Sedge"
    )
    assert same_room(held, again)
    assert told([again, again], [held]) == []


def test_one_id_for_other_room_is_refused() -> None:
    assert told([booking(vcpus=5)], [booking()]) == ['booking "b1" stands for other room']
    assert told([booking(), booking(vcpus=5)]) == ['booking "b1" stands for other room']


def test_a_host_that_is_overfull_elsewhere_does_not_forbid() -> None:
    full = estate(host(), host("om-h02", memory_bytes=57 * GIB))
    moved = replace(full, guests=(replace(full.guests[0], host="om-h02"),))
    assert faults_of([booking()], [], moved) == ()
    assert faults_of([booking(host="om-h02", vcpus=0, disk_bytes=0, pool="")], [], moved) != ()


def test_a_booking_stands_until_its_end_and_not_at_it() -> None:
    ended, held = booking("b1", until=NOW), booking("b2", until=NOW + timedelta(seconds=1))
    assert standing([ended, held], NOW) == (held,)
    assert [fault.what for fault in until_faults([ended, held], NOW)] == [
        'booking "b1" ends at 2026-11-25T09:00:00+00:00, which is not after 2026-11-25T09:00:00+00:00'
    ]


@pytest.mark.parametrize(
    "wrong",
    [
        {"memory_bytes": -1},
        {"memory_bytes": 0, "vcpus": 0, "disk_bytes": 0},
        {"pool": ""},
        {"host": ""},
        {"written_bytes": 177 * GB},
        {"until": datetime(2026, 11, 26)},  # noqa: DTZ001  a naive instant is the point
        {"made_at": datetime(2026, 11, 26, tzinfo=timezone(timedelta(hours=1)))},
    ],
)
def test_a_booking_that_means_nothing_cannot_exist(wrong: dict[str, object]) -> None:
    with pytest.raises(InputRefused, match='booking "b1"'):
        booking(**wrong)  # type: ignore[arg-type]  # a table of mixed values


AMOUNTS = st.tuples(st.integers(0, 40), st.integers(0, 12), st.integers(0, 3000))


@given(st.lists(AMOUNTS.filter(any), max_size=5), st.lists(AMOUNTS.filter(any), min_size=1, max_size=5))
def test_promised_if_and_only_if_the_sums_fit(
    held: list[tuple[int, int, int]], new: list[tuple[int, int, int]]
) -> None:
    def made(letter: str, amounts: list[tuple[int, int, int]]) -> list[Booking]:
        return [
            booking(f"{letter}{i}", memory_bytes=m * GIB, vcpus=v, disk_bytes=d * GB)
            for i, (m, v, d) in enumerate(amounts)
        ]

    sums = [sum(amount[i] for amount in (*held, *new)) for i in range(3)]
    asked = [sum(amount[i] for amount in new) for i in range(3)]
    fits = all(
        total <= limit or not mine for total, mine, limit in zip(sums, asked, (64, 21, 5000), strict=True)
    )
    assert (faults_of(made("n", new), made("h", held), estate()) == ()) == fits
