"""What a rehearsal's machine inherits, and two writers of one disk of whom one was held up."""

import asyncio
import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

import pytest

from staddle.kernel import OutsideFailed, canonical_json
from staddle.plan.looks import Seen
from staddle.platforms.loopback import LoopbackPlatform, LoopbackSettings
from tests.platforms.bench import CONTENT, OTHER_TAG, TAG, Bench, plan_with
from tests.platforms.loopback_blocks import own_block


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


def test_a_machine_does_not_inherit_what_unlocks_the_secrets(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("STADDLE_PASSPHRASE", "reed-mace and sallow")

    async def started() -> int:
        await bench.prepare(bench.plan, bench.member)
        await bench.platform.power_on(bench.plan, bench.member)
        await bench.ready(bench.member)
        look = await bench.platform.look_power(bench.plan, bench.member, None)
        assert isinstance(look, Seen)
        return int(str(look.evidence["process"]))

    environment = Path(f"/proc/{asyncio.run(started())}/environ").read_bytes()
    assert b"PATH=" in environment
    assert b"reed-mace" not in environment


class HeldUp(io.BytesIO):
    """Between its first block and its second another writer delivers the same disk, in whole or in part."""

    def __init__(self, bench: Bench, *, whole: bool) -> None:
        super().__init__(CONTENT)
        self._bench, self._whole, self._reads = bench, whole, 0

    def read(self, size: int | None = -1, /) -> bytes:
        self._reads += 1
        if self._reads == 2:
            later = LoopbackPlatform(self._bench.root)
            bench = self._bench

            @contextmanager
            def source() -> Iterator[BinaryIO]:
                yield io.BytesIO(CONTENT) if self._whole else Broken(CONTENT)

            delivery = later.deliver_disk(bench.plan, bench.member, bench.disk, source, lambda *_: None)
            if self._whole:
                asyncio.run(delivery)
            else:
                with pytest.raises(RuntimeError):
                    asyncio.run(delivery)
        return super().read(size)


class Broken(io.BytesIO):
    """Ends the writer in the middle, as a kill would, leaving its part behind."""

    def read(self, size: int | None = -1, /) -> bytes:
        if self.tell():
            raise RuntimeError("the writer ends here")
        return super().read(size)


@pytest.mark.parametrize("whole", [True, False])
def test_a_writer_that_was_held_up_never_makes_a_disk_whole_that_is_not(bench: Bench, whole: bool) -> None:
    @contextmanager
    def held_up() -> Iterator[BinaryIO]:
        yield HeldUp(bench, whole=whole)

    with pytest.raises(OutsideFailed):
        asyncio.run(
            bench.platform.deliver_disk(bench.plan, bench.member, bench.disk, held_up, lambda *_: None)
        )
    look = asyncio.run(bench.platform.look_disk(bench.plan, bench.member, bench.disk, None))
    assert isinstance(look, Seen) is whole
    content = bench.root / "pools" / bench.disk.pool / bench.disk.name / "content"
    assert (content.read_bytes() == CONTENT) if whole else not content.exists()
