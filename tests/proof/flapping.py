"""The misbehaving appliance, and its faults come and go: each line on standard input puts other faults in force.

    python -m tests.proof.flapping --members … --folder DIR

A line holds faults, comma-separated, empty for none; "ok" is said when they are in force. Ends with its standard input.
"""

import io
import sys

from tests.misbehaving import appliance

__all__ = ["main"]


class _Lines(io.StringIO):
    """Stands for standard input: the appliance waits for its end in one read, and meanwhile each line is obeyed."""

    def __init__(self, faults: set[str]) -> None:
        super().__init__()
        self._faults = faults

    def read(self, size: int | None = -1) -> str:
        for line in sys.__stdin__ or ():
            chosen = {part for part in line.strip().split(",") if part}
            assert chosen <= set(appliance.FAULTS), chosen
            self._faults.clear()
            self._faults.update(chosen)
            sys.stdout.write("ok\n")
            sys.stdout.flush()
        return ""


def main(arguments: list[str]) -> int:
    """Serve until standard input ends."""
    faults: set[str] = set()

    class Flapping(appliance.Cluster):
        def __init__(self, options: object) -> None:
            super().__init__(options)  # type: ignore[arg-type]  # the parent's own options
            self.faults = faults

    appliance.Cluster = Flapping  # type: ignore[misc]  # the one thing in which this appliance differs
    sys.stdin = _Lines(faults)
    return appliance.main(arguments)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
