"""A pool that is full, a package that is not the pinned one, a register without room: clear findings, and on after the mend."""

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from staddle.estate.bookings import Booking
from staddle.jobs.room import RegisterRoom
from staddle.jobs.toolbox import Workbench
from staddle.rollout.run import Run
from staddle.rollout.states import State
from staddle.stores.bookings_sqlite import SqliteBookings
from tests.platforms.small_disks import grow, skip_unless_root, small_disk
from tests.rollout.hooked_job import carry, fault_of, job_in, run_out
from tests.rollout.loopback_job import ROLLOUT, LoopbackJob
from tests.stores.bookings_worker import ESTATE

GIB = 1 << 30


@pytest.mark.needs_root
def test_a_full_pool_stops_the_member_and_more_room_lets_it_go_on(tmp_path: Path) -> None:
    skip_unless_root()
    with (
        job_in(tmp_path / "job") as job,
        small_disk(job.private / "loopback/pools/om-store-2", 1 << 20) as pool,
    ):
        run = carry(job)
        refused = [step.step_id for step in run.in_state(State.REFUSED)]
        assert "levels-2/deliver-disk/system" in refused
        assert {name.partition("/")[0] for name in refused} == {"levels-2"}
        assert run.state("levels-1/await-seen") is State.SEEN_DONE
        assert fault_of(run, "levels-2/deliver-disk/system") == (
            "pool om-store-2 is full\n"
            "  where: disk levels-2-system of levels-2\n"
            "  why:   its file could not be written whole: No space left on device; what was written of it is removed\n"
            "  try:   make room on the pool"
        )
        grow(pool, 32 << 20)
        run_out(job)


def nothing_was_made(job: LoopbackJob, run: Run, step_id: str) -> None:
    assert [step.step_id for step in run.in_state(State.REFUSED)] == [step_id]
    assert run.state("levels-1/create-machine") is State.TO_DO
    loopback = job.private / "loopback"
    assert sorted(path.name for path in loopback.iterdir()) == ["settings.json"]


def test_a_package_that_is_not_the_pinned_one_is_not_used(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        good = job.package_path.read_bytes()
        # More of the zero blocks that end an archive: intact by its manifest, and yet another file.
        job.package_path.write_bytes(good + bytes(10240))
        run = carry(job)
        nothing_was_made(job, run, "cluster/verify-package")
        said = fault_of(run, "cluster/verify-package").splitlines()
        assert said[:2] == [
            "this is not the package that the rollout was planned with",
            f"  where: {job.package_path}",
        ]
        assert said[2].endswith(f", pinned is {job.head.plan.package_sha256}")
        assert said[3] == "  try:   put the pinned package back; for another one, back out and plan anew"
        job.package_path.write_bytes(good)
        run_out(job)


def test_a_damaged_package_is_told_with_its_file(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        with job.package_path.open("r+b") as file:
            file.seek(-60_000, os.SEEK_END)
            (byte,) = file.read(1)
            file.seek(-1, os.SEEK_CUR)
            file.write(bytes([byte ^ 1]))
        run = carry(job)
        nothing_was_made(job, run, "cluster/verify-package")
        assert "sluicelog-4.2.0-data.img" in fault_of(run, "cluster/verify-package").splitlines()[0]


class RegisteredJob(LoopbackJob):
    """The job with a real register of an estate of two hosts."""

    def register(self) -> SqliteBookings:
        return SqliteBookings(self.folder, ESTATE)

    def workbench(self) -> Workbench:
        bench = super().workbench()
        until = datetime.now(UTC) + timedelta(days=1)
        bench.room = RegisterRoom(
            self.register(), self.clock, job="levels", rollout=ROLLOUT, by="the tests", until=until
        )
        return bench


def test_a_register_without_room_makes_nothing_until_room_is_given_back(tmp_path: Path) -> None:
    with job_in(tmp_path) as job:
        job.__class__ = RegisteredJob
        assert isinstance(job, RegisteredJob)
        now = datetime.now(UTC)
        other = Booking(
            booking_id="other/1",
            job="gauges",
            rollout="gauges-rollout-1",
            host="om-h02",
            pool="",
            memory_bytes=50 * GIB,
            vcpus=1,
            disk_bytes=0,
            made_by="W. Marram",
            made_at=now,
            until=now + timedelta(days=1),
        )
        job.register().book([other], now=now)
        run = carry(job)
        nothing_was_made(job, run, "cluster/book-room")
        assert fault_of(run, "cluster/book-room") == (
            'host "om-h02" has 6 GiB of memory left, 16 GiB are asked for\n'
            '  why:   of 64 GiB it keeps 8 GiB; 50 GiB are booked there for "gauges"\n'
            "  try:   take another host, or have a booking released"
        )
        assert job.register().all_bookings() == (other,)
        job.register().release(["other/1"])
        run_out(job)
        assert {booking.host for booking in job.register().all_bookings()} == {"om-h01", "om-h02"}
