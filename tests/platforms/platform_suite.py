"""The promises of the Platform port (plan/ports.py) as one suite. A test class derives from it and gives a bench.

Held here: looking changes nothing; acting twice leaves what acting once leaves; everything carries the plan's tag;
nothing else is ever changed; what was interrupted or did not fit is never taken for whole; removal frees the name.
"""

import asyncio
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, cast

import pytest

from staddle.kernel import OutsideFailed
from staddle.plan.looks import Look, NotYet, Seen, Wrong
from staddle.plan.orders import MemberOrder, Plan
from tests.platforms.bench import CONTENT, TAG, Bench, snapshot, until
from tests.platforms.small_disks import grow, skip_unless_root, small_disk

__all__ = ["PlatformSuite"]

_REPOSITORY = Path(__file__).resolve().parents[2]


async def all_looks(bench: Bench, plan: Plan, member: MemberOrder) -> dict[str, Look]:
    """Every look that the port has, and the two reads."""
    platform, disk = bench.platform, member.disks[0]
    looks = {
        "disk": await platform.look_disk(plan, member, disk, None),
        "machine": await platform.look_machine(plan, member, None),
        "answers": await platform.look_answers(plan, member, None),
        "power": await platform.look_power(plan, member, None),
        "ejected": await platform.look_ejected(plan, member, None),
        "removed": await platform.look_removed(plan, member, None),
        "disk removed": await platform.look_disk_removed(plan, member, disk, None),
    }
    await platform.read_console(plan, member)
    await platform.inventory(plan.tag)
    return looks


def seen_in(looks: dict[str, Look]) -> set[str]:
    return {name for name, look in looks.items() if isinstance(look, Seen)}


class PlatformSuite:
    """Derive from it and give the fixture ``bench``; ``where`` is what makes the platform anew from a root."""

    where: tuple[str, str]  # module, class
    pool_folder: str  # below the root, with {pool}

    def test_looking_changes_nothing_at_any_stage(self, bench: Bench) -> None:
        async def work() -> None:
            platform, plan, member = bench.platform, bench.plan, bench.member
            stages = []

            async def look_around() -> None:
                before = snapshot(bench.root)
                stages.append(seen_in(await all_looks(bench, plan, member)))
                assert snapshot(bench.root) == before

            await look_around()
            await bench.deliver(plan, member)
            await look_around()
            await platform.create_machine(plan, member)
            await look_around()
            await platform.attach_answers(plan, member, bench.document(member))
            await look_around()
            await platform.power_on(plan, member)
            await bench.ready(member)
            await look_around()
            await platform.eject_answers(plan, member)
            await look_around()
            assert stages == [
                {"removed", "disk removed"},
                {"disk", "removed"},
                {"disk", "machine"},
                {"disk", "machine", "answers"},
                {"disk", "machine", "answers", "power"},
                {"disk", "machine", "answers", "power", "ejected"},
            ]

        asyncio.run(asyncio.wait_for(work(), 60))

    def test_acting_twice_leaves_what_acting_once_leaves(self, bench: Bench) -> None:
        async def work() -> None:
            platform, plan, member = bench.platform, bench.plan, bench.member
            await bench.deliver(plan, member)
            once = snapshot(bench.root)
            await bench.deliver(plan, member)
            assert snapshot(bench.root) == once, "a disk that is whole is not written anew"
            await platform.create_machine(plan, member)
            once = snapshot(bench.root)
            await platform.create_machine(plan, member)
            assert snapshot(bench.root) == once
            await platform.attach_answers(plan, member, bench.document(member))
            once = snapshot(bench.root, times=False)
            await platform.attach_answers(plan, member, bench.document(member))
            assert snapshot(bench.root, times=False) == once
            await platform.power_on(plan, member)
            await bench.ready(member)
            power, shown = await platform.look_power(plan, member, None), await bench.console(member)
            await platform.power_on(plan, member)
            assert await platform.look_power(plan, member, None) == power, "another process runs"
            assert await bench.console(member) == shown, "the running machine has lost its console"
            await platform.eject_answers(plan, member)
            once = snapshot(bench.root, times=False)
            await platform.eject_answers(plan, member)
            assert snapshot(bench.root, times=False) == once
            await platform.remove_machine(plan, member)
            once = snapshot(bench.root)
            await platform.remove_machine(plan, member)
            assert snapshot(bench.root) == once
            for disk in member.disks:
                await platform.remove_disk(plan, member, disk)
                once = snapshot(bench.root)
                await platform.remove_disk(plan, member, disk)
                assert snapshot(bench.root) == once

        asyncio.run(asyncio.wait_for(work(), 60))

    def test_everything_carries_the_tag_and_stands_in_the_inventory_sorted(self, bench: Bench) -> None:
        async def work() -> None:
            for member in reversed(bench.plan.members):
                await bench.prepare(bench.plan, member)
            found = await bench.platform.inventory(bench.plan.tag)
            assert [(owned.kind, owned.name, owned.tag) for owned in found] == [
                ("disk", "levels-level-1-data", TAG),
                ("disk", "levels-level-1-system", TAG),
                ("disk", "levels-level-2-data", TAG),
                ("disk", "levels-level-2-system", TAG),
                ("machine", "levels-level-1", TAG),
                ("machine", "levels-level-2", TAG),
            ]
            assert len({owned.platform_id for owned in found}) == 6
            machine = await bench.platform.look_machine(bench.plan, bench.member, None)
            assert isinstance(machine, Seen)
            assert machine.evidence["platform_id"] == found[4].platform_id
            assert await bench.platform.inventory(bench.other.tag) == ()

        asyncio.run(work())

    def test_what_carries_another_tag_is_told_as_wrong_and_never_touched(self, bench: Bench) -> None:
        async def work() -> None:
            platform, plan, member = bench.platform, bench.plan, bench.member
            await bench.prepare(bench.other, member)
            before = snapshot(bench.root)
            looks = await all_looks(bench, plan, member)
            assert {name for name, look in looks.items() if isinstance(look, Wrong)} >= {
                "disk",
                "machine",
                "answers",
                "power",
            }
            assert seen_in(looks) == {"removed", "disk removed"}, "nothing of ours is left there"
            for act in (
                platform.deliver_disk(plan, member, bench.disk, bench.source, lambda done, total: None),
                platform.create_machine(plan, member),
                platform.attach_answers(plan, member, b"ours"),
                platform.power_on(plan, member),
                platform.eject_answers(plan, member),
                platform.remove_machine(plan, member),
                platform.remove_disk(plan, member, bench.disk),
            ):
                with pytest.raises(OutsideFailed, match=r"is not (ours|whole)"):
                    await act
            assert snapshot(bench.root) == before
            assert await platform.inventory(plan.tag) == ()

        asyncio.run(work())

    def test_removal_of_ours_leaves_the_neighbour_of_another_tag_as_it_is(self, bench: Bench) -> None:
        async def work() -> None:
            mine, neighbour = bench.plan.members
            await bench.prepare(bench.other, neighbour)
            before = snapshot(bench.root)
            await bench.prepare(bench.plan, mine)
            await bench.platform.remove_machine(bench.plan, mine)
            for disk in mine.disks:
                await bench.platform.remove_disk(bench.plan, mine, disk)
            after = snapshot(bench.root)
            assert {name: after.get(name) for name in before if neighbour.machine in name} == {
                name: item for name, item in before.items() if neighbour.machine in name
            }
            assert not [name for name in after if mine.machine in name]

        asyncio.run(work())

    def test_a_delivery_killed_in_the_middle_is_not_whole_and_the_next_one_is(self, bench: Bench) -> None:
        command = [sys.executable, "-m", "tests.platforms.slow_delivery", *self.where, str(bench.root)]
        environment = {**os.environ, "PYTHONPATH": f"{_REPOSITORY / 'src'}{os.pathsep}{_REPOSITORY}"}
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        with subprocess.Popen(command, cwd=_REPOSITORY, env=environment, **pipes) as process:  # type: ignore[call-overload]  # two pipes
            assert process.stdout.readline() == b"half\n"
            process.kill()
            assert process.wait(timeout=20) == -signal.SIGKILL
        self._not_whole_then_whole(bench)

    def test_a_delivery_that_is_cancelled_stops_writing_and_is_not_whole(self, bench: Bench) -> None:
        reached, go_on = threading.Event(), threading.Event()

        class Held:
            left = [CONTENT[: 1 << 20], CONTENT[1 << 20 : 2 << 20], CONTENT[2 << 20 :]]

            def read(self, size: int = -1) -> bytes:
                if len(self.left) == 2:
                    reached.set()
                    assert go_on.wait(20)
                return self.left.pop(0) if self.left else b""

        held = Held()

        @contextmanager
        def source() -> Iterator[BinaryIO]:
            yield cast("BinaryIO", held)

        async def work() -> None:
            delivery = asyncio.ensure_future(
                bench.platform.deliver_disk(
                    bench.plan, bench.member, bench.disk, source, lambda done, total: None
                )
            )
            assert await asyncio.to_thread(reached.wait, 20)
            delivery.cancel()
            asyncio.get_running_loop().call_later(0.05, go_on.set)
            with pytest.raises(asyncio.CancelledError):
                await delivery

        asyncio.run(asyncio.wait_for(work(), 30))
        assert held.left, "it went on reading after it was told to stop"
        self._not_whole_then_whole(bench)

    def _not_whole_then_whole(self, bench: Bench) -> None:
        async def work() -> None:
            arguments = (bench.plan, bench.member, bench.disk)
            assert isinstance(await bench.platform.look_disk(*arguments, None), NotYet)
            assert isinstance(await bench.platform.look_disk_removed(*arguments, None), NotYet), (
                "a part is left"
            )
            with pytest.raises(OutsideFailed):
                await bench.platform.create_machine(bench.plan, bench.member)
            await bench.deliver(bench.plan, bench.member)
            assert isinstance(await bench.platform.look_disk(*arguments, None), Seen)
            await bench.platform.remove_disk(*arguments)
            assert isinstance(await bench.platform.look_disk_removed(*arguments, None), Seen)
            assert not [name for name in snapshot(bench.root) if bench.disk.name in name]

        asyncio.run(work())

    @pytest.mark.needs_root
    def test_a_full_disk_is_told_as_one_leaves_no_part_and_goes_on_with_more_room(self, bench: Bench) -> None:
        skip_unless_root()

        async def work(pool: Path) -> None:
            arguments = (bench.plan, bench.member, bench.disk)
            with pytest.raises(OutsideFailed) as caught:
                await bench.platform.deliver_disk(*arguments, bench.source, lambda done, total: None)
            assert "full" in caught.value.faults[0].what
            assert isinstance(await bench.platform.look_disk(*arguments, None), NotYet)
            kept = os.statvfs(pool)
            assert (kept.f_blocks - kept.f_bfree) * kept.f_frsize <= 64 << 10, "a part keeps the room"
            grow(pool, 8 << 20)
            await bench.platform.deliver_disk(*arguments, bench.source, lambda done, total: None)
            assert isinstance(await bench.platform.look_disk(*arguments, None), Seen)

        with small_disk(bench.root / self.pool_folder.format(pool=bench.disk.pool), 1 << 20) as pool:
            asyncio.run(work(pool))

    def test_removal_ends_the_process_and_frees_the_name(self, bench: Bench) -> None:
        async def work() -> None:
            platform, plan, member = bench.platform, bench.plan, bench.member
            pids = []
            for _ in range(2):  # the second time under the same name
                await bench.prepare(plan, member)
                await platform.power_on(plan, member)
                await bench.ready(member)
                power = await platform.look_power(plan, member, None)
                assert isinstance(power, Seen)
                pid = power.evidence["process"]
                assert isinstance(pid, int)
                pids.append(pid)
                await platform.remove_machine(plan, member)
                assert isinstance(await platform.look_removed(plan, member, None), Seen)
                assert [owned.kind for owned in await platform.inventory(plan.tag)] == ["disk", "disk"]
                until(lambda: not _alive(pids[-1]), what="the end of the process")
            assert pids[0] != pids[1]

        asyncio.run(asyncio.wait_for(work(), 60))

    def test_a_machine_that_stopped_by_itself_is_hopeless_and_told_with_its_last_words(
        self, bench: Bench
    ) -> None:
        async def work() -> NotYet:
            platform, plan, member = bench.platform, bench.plan, bench.member
            await bench.prepare(plan, member)
            await platform.attach_answers(plan, member, b"<no answers>")
            await platform.power_on(plan, member)
            while True:
                look = await platform.look_power(plan, member, None)
                if isinstance(look, NotYet) and look.hopeless:
                    return look
                await asyncio.sleep(0.02)

        look = asyncio.run(asyncio.wait_for(work(), 30))
        assert "error: the answers are not XML" in look.why

    def test_answers_and_machine_can_be_read_by_their_owner_only(self, bench: Bench) -> None:
        asyncio.run(bench.prepare(bench.plan, bench.member))
        document = bench.document(bench.member)
        holding = [p for p in bench.root.rglob("*") if p.is_file() and document in p.read_bytes()]
        assert holding
        for path in holding:
            assert path.stat().st_mode & 0o077 == 0
        asyncio.run(bench.platform.eject_answers(bench.plan, bench.member))
        secret = b"first-Password-1"
        assert not [p for p in bench.root.rglob("*") if p.is_file() and secret in p.read_bytes()]


def _alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] not in ("Z", "X")
    except FileNotFoundError:
        return False
