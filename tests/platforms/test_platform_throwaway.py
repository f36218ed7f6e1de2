"""A platform that was written only for this test keeps the port's promises: the suite is not the loopback's mirror."""

import asyncio
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.platforms.bench import OTHER_TAG, TAG, Bench, plan_with
from tests.platforms.loopback_blocks import own_block
from tests.platforms.platform_suite import PlatformSuite
from tests.platforms.throwaway.shed import ShedPlatform


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    root = tmp_path / "shed"
    root.mkdir(mode=0o700)
    with own_block() as block:
        program = [sys.executable, "-m", "staddle.standin"]
        (root / "settings.json").write_text(json.dumps({"block": block, "program": program}))
        made = Bench(platform=ShedPlatform(root), root=root, plan=plan_with(TAG), other=plan_with(OTHER_TAG))
        try:
            yield made
        finally:
            asyncio.run(made.remove_all())


class TestShed(PlatformSuite):
    where = ("tests.platforms.throwaway.shed", "ShedPlatform")
    pool_folder = "{pool}"
