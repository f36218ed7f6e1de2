"""The loopback platform keeps the port's promises; and what only its folders can show."""

import asyncio
import contextlib
import hashlib
import os
import shutil
import signal
import stat
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from staddle.kernel import OutcomeUnknown, OutsideFailed, canonical_json
from staddle.plan.looks import NotYet, Seen, Wrong
from staddle.platforms.loopback import LoopbackPlatform, LoopbackSettings
from staddle.platforms.loopback_room import find_leftover
from tests.platforms.bench import OTHER_TAG, TAG, Bench, plan_with, snapshot
from tests.platforms.loopback_blocks import own_block
from tests.platforms.platform_suite import PlatformSuite, all_looks
from tests.platforms.small_disks import skip_unless_root, small_disk


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    root = tmp_path / "loopback"
    root.mkdir(mode=0o700)
    with own_block() as block:
        (root / "settings.json").write_bytes(canonical_json(LoopbackSettings(block=block, speed=0.15)))
        made = Bench(
            platform=LoopbackPlatform(root), root=root, plan=plan_with(TAG), other=plan_with(OTHER_TAG)
        )
        try:
            yield made
        finally:
            asyncio.run(made.remove_all())


class TestLoopback(PlatformSuite):
    where = ("staddle.platforms.loopback", "LoopbackPlatform")
    pool_folder = "pools/{pool}"


def looks_alike(place: Path, kind: str) -> None:
    """Something of somebody else's under the name that ours would have."""
    place.parent.mkdir(parents=True, exist_ok=True)
    if kind == "a file":
        place.write_text("a file of that name")
        return
    place.mkdir()
    (place / "content").write_text("somebody's")
    texts: dict[str, str | bytes] = {
        "another form of tag": '{"owner": "another tool"}',
        "a list as tag": "[1, 2]",
        "a damaged tag": '{"tag": "staddle/',
        "bytes that are no text": b"\xff\xfe\x00",
        "a tag that begins like ours": f'{{"tag": "{TAG}/more", "platform_id": "1", "facts": {{}}}}',
    }
    if kind in texts:
        text = texts[kind]
        (place / "tag.json").write_bytes(text if isinstance(text, bytes) else text.encode())


ALIKE = (
    "a file",
    "no tag",
    "another form of tag",
    "a list as tag",
    "a damaged tag",
    "bytes that are no text",
    "a tag that begins like ours",
)


@pytest.mark.parametrize("kind", ALIKE)
def test_what_only_looks_like_ours_is_left_alone(bench: Bench, kind: str) -> None:
    looks_alike(bench.root / "pools" / bench.disk.pool / bench.disk.name, kind)
    looks_alike(bench.root / "hosts" / bench.member.host / bench.member.machine, kind)
    before = snapshot(bench.root)

    async def work() -> None:
        looks = await all_looks(bench, bench.plan, bench.member)
        assert isinstance(looks["disk"], Wrong)
        assert isinstance(looks["machine"], Wrong)
        assert isinstance(looks["removed"], Seen)
        for act in (
            bench.platform.remove_machine(bench.plan, bench.member),
            bench.platform.remove_disk(bench.plan, bench.member, bench.disk),
            bench.platform.attach_answers(bench.plan, bench.member, b"x"),
            bench.platform.power_on(bench.plan, bench.member),
            bench.platform.eject_answers(bench.plan, bench.member),
            bench.deliver(bench.plan, bench.member),
        ):
            with pytest.raises(OutsideFailed):
                await act

    asyncio.run(work())
    assert snapshot(bench.root) == before


def test_the_fault_names_both_tags_and_what_to_do(bench: Bench) -> None:
    asyncio.run(bench.prepare(bench.other, bench.member))
    look = asyncio.run(bench.platform.look_machine(bench.plan, bench.member, None))
    assert isinstance(look, Wrong)
    assert "\n".join(look.fault.lines()) == (
        '"levels-level-1" exists already and is not ours\n'
        "  where: om-h1\n"
        "  why:   it carries the tag 'staddle/levels-rollout-1/9876543210', "
        "ours is 'staddle/levels-rollout-1/0123456789'; what is not ours is never changed\n"
        "  try:   find out whose it is; give this job or member another name, or have its owner remove it"
    )


def leftover(bench: Bench, tag: str, word: str) -> Path:
    """What a process of that tag, killed while it made or removed the machine, would have left."""
    machine = bench.root / "hosts" / bench.member.host / bench.member.machine
    machine.parent.mkdir(parents=True, exist_ok=True)
    mark = hashlib.sha256(tag.encode()).hexdigest()[:10]
    place = machine.with_name(f".{word}-{mark}-{machine.name}")
    place.mkdir(mode=0o700)
    (place / "answers.iso").write_text("first-Password-1")
    return place


@pytest.mark.parametrize("word", ["new", "gone"])
def test_our_leftover_counts_as_left_until_it_is_removed(bench: Bench, word: str) -> None:
    place = leftover(bench, TAG, word)
    machine = bench.root / "hosts" / bench.member.host / bench.member.machine
    assert find_leftover(machine, TAG) == place
    look = asyncio.run(bench.platform.look_removed(bench.plan, bench.member, None))
    assert look == NotYet(why=f"a part of levels-level-1 is still there: {place.name}")
    asyncio.run(bench.platform.remove_machine(bench.plan, bench.member))
    assert not place.exists()
    assert isinstance(asyncio.run(bench.platform.look_removed(bench.plan, bench.member, None)), Seen)


@pytest.mark.parametrize("word", ["new", "gone"])
def test_a_leftover_of_another_tag_is_not_ours_to_sweep(bench: Bench, word: str) -> None:
    place = leftover(bench, OTHER_TAG, word)
    kept = snapshot(place)
    asyncio.run(bench.prepare(bench.plan, bench.member))
    asyncio.run(bench.platform.remove_machine(bench.plan, bench.member))
    assert snapshot(place) == kept


@pytest.mark.parametrize("damage", ["content gone", "content short", "note damaged", "note of another form"])
def test_a_disk_that_was_damaged_is_not_whole_and_is_delivered_again(bench: Bench, damage: str) -> None:
    asyncio.run(bench.deliver(bench.plan, bench.member))
    folder = bench.root / "pools" / bench.disk.pool / bench.disk.name
    if damage == "content gone":
        (folder / "content").unlink()
    elif damage == "content short":
        os.truncate(folder / "content", 100)
    else:
        (folder / "whole.json").write_text("{" if damage == "note damaged" else "{}")
    assert isinstance(
        asyncio.run(bench.platform.look_disk(bench.plan, bench.member, bench.disk, None)), NotYet
    )
    asyncio.run(bench.deliver(bench.plan, bench.member))
    assert isinstance(asyncio.run(bench.platform.look_disk(bench.plan, bench.member, bench.disk, None)), Seen)


@pytest.mark.needs_root
def test_a_full_pool_is_told_whole(bench: Bench) -> None:
    skip_unless_root()
    with small_disk(bench.root / "pools" / bench.disk.pool, 1 << 20), pytest.raises(OutsideFailed) as caught:
        asyncio.run(bench.deliver(bench.plan, bench.member))
    assert str(caught.value) == (
        "error: pool om-p1 is full\n"
        "  where: disk levels-level-1-system of level-1\n"
        "  why:   its file could not be written whole: No space left on device; what was written of it is removed\n"
        "  try:   make room on the pool"
    )


@pytest.mark.needs_root
def test_a_host_without_room_refuses_machine_and_answers_and_keeps_no_part(bench: Bench) -> None:
    skip_unless_root()
    asyncio.run(bench.deliver(bench.plan, bench.member))
    with small_disk(bench.root / "hosts" / bench.member.host, 1 << 20) as host:
        filler = host / "filler"

        def fill() -> None:
            with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
                while file.write(bytes(4096)):
                    pass

        fill()
        with pytest.raises(OutsideFailed) as caught:
            asyncio.run(bench.platform.create_machine(bench.plan, bench.member))
        assert str(caught.value) == (
            "error: levels-level-1 could not be written: No space left on device\n"
            f"  where: {host}\n"
            "  try:   make room, then run again"
        )
        assert [path.name for path in host.iterdir()] == ["filler"]
        filler.unlink()
        asyncio.run(bench.platform.create_machine(bench.plan, bench.member))
        fill()
        with pytest.raises(OutsideFailed) as caught:
            asyncio.run(bench.platform.attach_answers(bench.plan, bench.member, bytes(9000)))
        assert str(caught.value) == (
            "error: answers.iso could not be written: No space left on device\n"
            f"  where: {host / bench.member.machine}\n"
            "  try:   make room, then run again"
        )
        assert isinstance(asyncio.run(bench.platform.look_answers(bench.plan, bench.member, None)), NotYet)


def test_a_machine_that_is_not_there_cannot_be_started_or_given_answers(bench: Bench) -> None:
    for act in (
        bench.platform.power_on(bench.plan, bench.member),
        bench.platform.attach_answers(bench.plan, bench.member, b"x"),
        bench.platform.eject_answers(bench.plan, bench.member),
    ):
        with pytest.raises(OutsideFailed) as caught:
            asyncio.run(act)
        assert not isinstance(caught.value, OutcomeUnknown)
        assert str(caught.value) == (
            "error: machine levels-level-1 is not there\n"
            "  where: om-h1\n"
            "  try:   run the same command again; it is created first"
        )


def test_the_answers_lie_in_the_drive_as_an_image_with_the_makers_files(bench: Bench) -> None:
    # Source: DSP0243, ISO transport, by isoinfo (Debian's genisoimage), which shares no code with the writer.
    files = {"etc/site key": b"k" * 3000, "motd": b""}

    async def work() -> None:
        await bench.deliver(bench.plan, bench.member)
        await bench.platform.create_machine(bench.plan, bench.member)
        await bench.platform.attach_answers(bench.plan, bench.member, bench.document(bench.member), files)

    asyncio.run(work())
    folder = bench.root / "hosts" / bench.member.host / bench.member.machine
    disc = folder / "answers.iso"
    assert stat.S_IMODE(disc.stat().st_mode) == 0o600
    assert [path.name for path in folder.iterdir() if "env" in path.name] == []

    def from_disc(name: str) -> bytes:
        if shutil.which("isoinfo") is None:
            if os.environ.get("CI") == "true":
                pytest.fail("isoinfo is not installed, and nothing may be skipped here")
            pytest.skip("isoinfo is not installed")
        return subprocess.run(
            ["isoinfo", "-J", "-i", str(disc), "-x", name], check=True, capture_output=True
        ).stdout

    assert from_disc("/ovf-env.xml") == bench.document(bench.member)
    assert from_disc("/ovffiles/etc/site key") == files["etc/site key"]
    asyncio.run(bench.platform.eject_answers(bench.plan, bench.member))
    assert not disc.exists()


@pytest.mark.parametrize("end", ["eject", "remove"])
def test_a_kill_while_the_answers_are_attached_leaves_nothing_that_the_end_does_not_take_away(
    bench: Bench, end: str
) -> None:
    asyncio.run(bench.deliver(bench.plan, bench.member))
    asyncio.run(bench.platform.create_machine(bench.plan, bench.member))
    killed = f"""
import asyncio, os, signal
from pathlib import Path
from staddle.platforms.loopback import LoopbackPlatform
from tests.platforms.bench import plan_with, TAG
Path.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
plan = plan_with(TAG)
asyncio.run(LoopbackPlatform(Path({str(bench.root)!r})).attach_answers(plan, plan.members[0], b"first-Password-1"))
"""
    ended = subprocess.run([sys.executable, "-c", killed], cwd=Path(__file__).parents[2], check=False)
    assert ended.returncode == -signal.SIGKILL
    holding = [p for p in bench.root.rglob("*") if p.is_file() and b"first-Password-1" in p.read_bytes()]
    assert len(holding) == 1
    assert stat.S_IMODE(holding[0].stat().st_mode) == 0o600
    assert isinstance(asyncio.run(bench.platform.look_answers(bench.plan, bench.member, None)), NotYet)
    asyncio.run(bench.platform.attach_answers(bench.plan, bench.member, bench.document(bench.member)))
    if end == "eject":
        asyncio.run(bench.platform.eject_answers(bench.plan, bench.member))
    else:
        asyncio.run(bench.platform.remove_machine(bench.plan, bench.member))
    assert not [p for p in bench.root.rglob("*") if p.is_file() and b"first-Password-1" in p.read_bytes()]
