"""A real disk of a few MiB that can be full: a tmpfs on a folder, taken away again at the end. Not a test."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

__all__ = ["grow", "skip_unless_root", "small_disk"]


def skip_unless_root() -> None:
    """Skip with the reason where nothing may be mounted; fail instead where the whole suite is expected to run."""
    if os.geteuid() == 0:
        return
    if os.environ.get("CI") == "true":
        raise AssertionError("CI runs these tests as root")
    pytest.skip("mounting a small disk needs root")


@contextmanager
def small_disk(folder: Path, size_bytes: int) -> Iterator[Path]:
    """The folder, made if needed, as a disk of its own."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    options = f"size={size_bytes},mode=0700"
    subprocess.run(["mount", "-t", "tmpfs", "-o", options, "staddle-test", str(folder)], check=True)
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def grow(folder: Path, size_bytes: int) -> None:
    """Give the disk more room, with what is on it left as it is."""
    subprocess.run(["mount", "-o", f"remount,size={size_bytes}", str(folder)], check=True)
