"""await-answer starts a machine that has stopped, but never a second holder of its address."""

import asyncio
import socket
from pathlib import Path

import pytest

from staddle.kernel import OutsideFailed
from staddle.plan.kind import get_kind
from staddle.plan.looks import NotYet
from tests.platforms.loopback_blocks import own_block
from tests.rollout.loopback_job import LoopbackJob


def test_a_stopped_machine_is_not_started_beside_another_holder_of_its_address(tmp_path: Path) -> None:
    with own_block() as block:
        job = LoopbackJob(tmp_path, block, members=1)
        tools = job.workbench().tools(job.run)
        (member,) = job.head.plan.members

        async def made() -> None:
            for step in job.head.plan.steps:
                if step.kind in ("deliver-disk", "create-machine", "attach-answers"):
                    await get_kind(step.kind).act(step, tools)

        asyncio.run(made())
        step = job.head.plan.get_step("levels-1/await-answer")
        with socket.create_server(job.platform.reach(member.address, member.port)):
            with pytest.raises(
                OutsideFailed, match=r"something answers on 192\.0\.2\.61 port 8443 while levels-1"
            ):
                asyncio.run(get_kind("await-answer").act(step, tools))
            assert isinstance(asyncio.run(job.platform.look_power(job.head.plan, member, None)), NotYet)
        try:
            asyncio.run(get_kind("await-answer").act(step, tools))
            assert asyncio.run(job.platform.look_power(job.head.plan, member, None)) != NotYet(
                why="the machine does not run yet"
            )
        finally:
            asyncio.run(job.platform.remove_machine(job.head.plan, member))
