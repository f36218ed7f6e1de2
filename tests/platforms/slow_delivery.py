"""A process that is to be killed in the middle of a delivery: MODULE CLASS ROOT. Not a test.

It writes one MiB of the disk, says "half" on its output, and waits for more until it is killed.
"""

import asyncio
import importlib
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, cast

from tests.platforms.bench import CONTENT, TAG, plan_with


class Slow:
    """Gives out half of the disk, then nothing."""

    def __init__(self) -> None:
        self._left = [CONTENT[: 1 << 20]]

    def read(self, size: int = -1) -> bytes:
        if not self._left:
            sys.stdout.write("half\n")
            sys.stdout.flush()
            sys.stdin.read()
            raise AssertionError("it was to be killed")
        return self._left.pop()


@contextmanager
def source() -> Iterator[BinaryIO]:
    yield cast("BinaryIO", Slow())


def main(module: str, name: str, root: str) -> None:
    platform = getattr(importlib.import_module(module), name)(Path(root))
    plan = plan_with(TAG)
    member = plan.members[0]
    asyncio.run(platform.deliver_disk(plan, member, member.disks[0], source, lambda done, total: None))


if __name__ == "__main__":
    main(*sys.argv[1:])
