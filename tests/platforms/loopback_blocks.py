"""A block of loopback addresses (127.N.0.0/16) for one test alone, also when several test processes run. Not a test."""

import fcntl
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["own_block"]


@contextmanager
def own_block() -> Iterator[int]:
    """A second octet from 100 to 180 that nobody else holds; a lock file keeps it until the end of the block."""
    folder = Path(tempfile.gettempdir()) / f"staddle-blocks-{os.getuid()}"
    folder.mkdir(mode=0o700, exist_ok=True)
    for number in range(100, 181):
        lock = os.open(folder / str(number), os.O_RDWR | os.O_CREAT, 0o600)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            os.close(lock)
            continue
        try:
            yield number
        finally:
            os.close(lock)
        return
    raise AssertionError("80 tests hold a block of loopback addresses; one of them does not end")
