"""A program on a terminal of its own: what it says is read as it comes, what a person types goes in line by line."""

import contextlib
import os
import re
import select
import subprocess
import time
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import Self

from tests.cli.demo_job import ENVIRONMENT

__all__ = ["Terminal"]


class Terminal:
    """Standard input and standard error are the terminal. Ends what it started by its id.

    Args: out: the file that standard output goes into; None for the terminal too.
    """

    def __init__(
        self, command: Sequence[str], *, out: Path | None, env: dict[str, str] | None = None
    ) -> None:
        self._near, far = os.openpty()
        self._out = out
        with contextlib.ExitStack() as opened:
            stdout = far if out is None else opened.enter_context(out.open("wb"))
            self.process = subprocess.Popen(
                command,
                stdin=far,
                stdout=stdout,
                stderr=far,
                env=ENVIRONMENT if env is None else env,
                start_new_session=True,
            )
        os.close(far)
        self.said = ""
        self._from = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait(timeout=20)
        os.close(self._near)

    def _take(self, deadline: float) -> bool:
        """Read what is there, waiting until the deadline. Returns: False when the program has closed its end."""
        ready, _, _ = select.select([self._near], [], [], max(0.0, deadline - time.monotonic()))
        if not ready:
            raise AssertionError(f"nothing more was said in time; so far:\n{self.said[-3000:]}")
        try:
            data = os.read(self._near, 65536)
        except OSError:  # EIO: the far end is closed (pty(7))
            return False
        self.said += data.decode("utf-8", errors="replace").replace("\r\n", "\n")
        return bool(data)

    def wait_for(self, pattern: str, *, deadline_s: float = 40) -> str | None:
        """What was said from the last match up to and with this one; None when the program ends before it."""
        deadline = time.monotonic() + deadline_s
        while True:
            found = re.compile(pattern).search(self.said, self._from)
            if found:
                text, self._from = self.said[self._from : found.end()], found.end()
                return text
            if not self._take(deadline):
                return None

    def type(self, line: str) -> None:
        """One line and Enter."""
        os.write(self._near, line.encode() + b"\n")

    def exit_code(self, *, deadline_s: float = 40) -> int:
        """Wait for the end of the program, reading the rest of what it says."""
        deadline = time.monotonic() + deadline_s
        while self._take(deadline):
            pass
        return self.process.wait(timeout=20)

    def printed(self) -> str:
        """What went to standard output."""
        assert self._out is not None
        return self._out.read_text(encoding="utf-8")
