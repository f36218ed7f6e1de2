"""What the platform suite works on: a plan of two members, their answers, disks, and snapshots of folders. Not a test."""

import asyncio
import hashlib
import io
import stat
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import BinaryIO

from staddle.plan.orders import DiskOrder, MemberOrder, Plan
from staddle.plan.ports import ConsoleText, Platform
from tests.rollout.plans import plan_of
from tests.standin.cluster import environment_document, first_answers

__all__ = ["CONTENT", "OTHER_TAG", "TAG", "Bench", "plan_with", "snapshot", "until"]

TAG = "staddle/levels-rollout-1/0123456789"
OTHER_TAG = "staddle/levels-rollout-1/9876543210"  # the same job and number, drawn by somebody else
CONTENT = Random("a disk of two and a half MiB").randbytes(5 << 19)


def plan_with(tag: str) -> Plan:
    """Two members: a filled disk and an empty one each, on pools and hosts of their own."""
    plan = plan_of(2)
    return replace(plan, tag=tag, members=tuple(_with_empty_disk(member) for member in plan.members))


def _with_empty_disk(member: MemberOrder) -> MemberOrder:
    (system,) = member.disks
    empty = replace(system, name=f"{member.machine}-data", disk_id="data", file_id=None, file_bytes=0)
    return replace(member, disks=(system, empty))


@dataclass(kw_only=True)
class Bench:
    """One platform on a folder of its own. ``root`` holds everything that the platform keeps."""

    platform: Platform
    root: Path
    plan: Plan
    other: Plan

    @property
    def member(self) -> MemberOrder:
        """The member that the tests work on."""
        return self.plan.members[0]

    @property
    def disk(self) -> DiskOrder:
        """Its filled disk."""
        return self.member.disks[0]

    @contextmanager
    def source(self) -> Iterator[BinaryIO]:
        """What fills the disk."""
        yield io.BytesIO(CONTENT)

    def document(self, member: MemberOrder) -> bytes:
        """Answers with which the stand-in comes up."""
        number = int(member.member.rpartition("-")[2])
        answers = {**first_answers(number), "host_name": member.fqdn}
        return environment_document(answers).encode()

    async def deliver(self, plan: Plan, member: MemberOrder) -> None:
        """Both disks."""
        for disk in member.disks:
            source = None if disk.file_id is None else self.source
            await self.platform.deliver_disk(plan, member, disk, source, lambda done, total: None)

    async def prepare(self, plan: Plan, member: MemberOrder) -> None:
        """Everything up to a machine that is ready to be started."""
        await self.deliver(plan, member)
        await self.platform.create_machine(plan, member)
        await self.platform.attach_answers(plan, member, self.document(member))

    async def console(self, member: MemberOrder) -> str:
        """The console's text."""
        shown = await self.platform.read_console(self.plan, member)
        assert isinstance(shown, ConsoleText)
        return shown.text

    async def ready(self, member: MemberOrder) -> None:
        """Wait until the console says so."""
        while "ready" not in await self.console(member):  # noqa: ASYNC110  a file of another process has no event
            await asyncio.sleep(0.02)

    async def remove_all(self) -> None:
        """End the processes that this test started, and take everything away."""
        for plan in (self.plan, self.other):
            carried = {owned.name for owned in await self.platform.inventory(plan.tag)}
            for member in plan.members:
                if member.machine in carried:
                    await self.platform.remove_machine(plan, member)


@dataclass(frozen=True, slots=True)
class Item:
    """One file or folder as it lies there."""

    mode: str
    size_bytes: int
    changed_ns: int
    sha256: str


def snapshot(root: Path, *, times: bool = True) -> dict[str, Item]:
    """Everything below a folder, hidden things too. ``times=False`` leaves out when it was changed."""
    found = {}
    for path in sorted([root, *root.rglob("*")]):
        told = path.lstat()
        is_file = stat.S_ISREG(told.st_mode)
        digest = hashlib.sha256(path.read_bytes()).hexdigest() if is_file else ""
        size_bytes = told.st_size if is_file else 0
        changed_ns = told.st_mtime_ns if times else 0
        found[str(path.relative_to(root))] = Item(stat.filemode(told.st_mode), size_bytes, changed_ns, digest)
    return found


def until(seen: Callable[[], object], *, deadline_s: float = 20, what: str = "the condition") -> None:
    """Poll until it is true."""
    end = time.monotonic() + deadline_s
    while not seen():
        if time.monotonic() > end:
            raise AssertionError(f"{what} was not seen within {deadline_s} s")
        time.sleep(0.02)
