"""A search in a process of its own, so that a real signal can break it off."""

import contextlib
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

__all__ = ["search_process"]


@contextlib.contextmanager
def search_process(code: str) -> Iterator[subprocess.Popen[str]]:
    """Run that code with what these tests can import, its output piped; ends it by its id if it has not ended."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    with subprocess.Popen(
        [sys.executable, "-c", code],
        stdout=subprocess.PIPE,
        env=environment,
        cwd=Path(__file__).parents[2],
        text=True,
    ) as process:
        try:
            yield process
        finally:
            if process.poll() is None:
                process.kill()
