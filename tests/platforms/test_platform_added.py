"""A platform added from outside: one file and an entry point, no line of the program, a whole rollout to the seal."""

import asyncio
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from demo.sluicelog_package import build_package
from staddle.rollout.run import fold
from tests.platforms.added_platform import AddedJob
from tests.platforms.loopback_blocks import own_block
from tests.platforms.throwaway.shed import ShedPlatform


@pytest.fixture
def added(tmp_path: Path) -> Iterator[AddedJob]:
    with own_block() as block:
        job = AddedJob(root=tmp_path, block=block, program=[sys.executable, "-m", "staddle.standin"])
        job.lay_out({})
        build_package(tmp_path)
        try:
            yield job
        finally:
            job.clear()


def test_a_platform_that_is_only_installed_carries_a_rollout_to_its_seal(added: AddedJob) -> None:
    added.staddle("place", "--settle", "--yes")
    design = added.job / "design.yaml"
    design.write_text(design.read_text().replace("platform: shed", "platform: barn"))
    assert added.staddle("rollout", expected=1).endswith(
        'error: there is no platform "barn"\n'
        "  where: design.yaml: job.platform\n"
        "  why:   installed are: by-hand, loopback, shed\n"
        "  try:   name one of these, or install the package that brings it\n"
    )
    design.write_text(design.read_text().replace("platform: barn", "platform: shed"))
    said = added.staddle("rollout")
    assert "levels-rollout-1 on platform shed" in said
    assert "levels-rollout-1 is sealed" in said
    head, entries = added.journal()
    assert fold(head.plan, entries).sealed
    made = asyncio.run(ShedPlatform(added.shed).inventory(head.plan.tag))
    assert [owned.name for owned in made if owned.kind == "machine"] == ["levels-1", "levels-2", "levels-3"]
    assert len([owned for owned in made if owned.kind == "disk"]) == 6
