"""A program of its own that writes a bundle and kills itself with SIGKILL in the middle.

python -m tests.package.bundle_runner PACKAGE OUT FORM AT: AT is how many bytes are written, or "heads" for before any.
"""

import os
import signal
import sys
from datetime import UTC, datetime
from pathlib import Path

from staddle.package import BundleOrder, Filling, Form, OriginCheck, write_bundle

__all__ = ["MADE_AT", "order", "write"]

MADE_AT = datetime(2026, 12, 1, 8, tzinfo=UTC)


def order(stem: str, size: str = "river", **answers: str) -> BundleOrder:
    """One package to write; the answers are of the demo's package."""
    return BundleOrder(
        stem=stem,
        filling=Filling(
            name=stem,
            system_id="sluicelog",
            size_id=size,
            answers={f"sluicelog.{key}": value for key, value in answers.items()},
            networks={"Management": "om-management", "Telemetry": "om-telemetry"},
            remark=f"filled in for {stem}",
        ),
    )


def write(package: Path, out: Path, form: Form, kill_at: int) -> None:
    """Write two packages, and end by SIGKILL once that many bytes are written."""

    def told(done: int, _total: int) -> None:
        if done >= kill_at:
            os.kill(os.getpid(), signal.SIGKILL)

    write_bundle(
        package,
        (order("levels-1"), order("levels-2")),
        out,
        form=form,
        made_at=MADE_AT,
        origin=OriginCheck(now=MADE_AT),
        reading=None if kill_at else told,
        writing=told,
    )


if __name__ == "__main__":
    form: Form = "ova" if sys.argv[3] == "ova" else "folder"
    write(Path(sys.argv[1]), Path(sys.argv[2]), form, int(sys.argv[4]))
