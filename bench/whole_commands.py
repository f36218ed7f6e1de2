"""What a whole command takes from its start to its end: the help, and the placement of the demo's three members on its sixteen hosts.

The job is the demo's, made anew; nothing is settled, so every run searches. A first run writes the byte code, and is not counted.
"""

import shutil
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bench.measure import Measure, child_cpu_s
from demo.ousemoor_estate import write_demo_estate
from demo.sluicelog_package import build_package

__all__ = ["TITLE", "measure"]

TITLE = "A whole command"
_DESIGN = Path(__file__).parents[1] / "demo" / "levels"


def measure(place: Path) -> tuple[Measure, ...]:
    """The least processor time of several runs of each, and what of it is not ours to shorten."""
    job = shutil.copytree(_DESIGN, place / "levels")
    build_package(place)
    write_demo_estate(place / "estate", surveyed=datetime.now(UTC).date() - timedelta(days=5))
    program = [sys.executable, "-m", "staddle"]
    bare = child_cpu_s([sys.executable, "-c", "pass"], tries=5)
    shell = child_cpu_s([sys.executable, "-c", "import cyclopts, rich.console, rich.table"], tries=5)
    solver = child_cpu_s(
        [sys.executable, "-c", "from staddle.failures.solver import load_solver; load_solver()"], tries=5
    )
    told = child_cpu_s([*program, "--help"], tries=6)
    placed = child_cpu_s([*program, "place", "--job", str(job)], tries=6)
    return (
        Measure(
            what="staddle --help",
            value=told,
            unit="s",
            bound=0.35,
            beside=f"of which {bare:.2f} s Python and {shell - bare:.2f} s what reads and writes command lines",
        ),
        Measure(
            what="staddle place, 3 members on 16 hosts",
            value=placed,
            unit="s",
            bound=1.0,
            beside=f"of which {bare:.2f} s Python and {solver - bare:.2f} s loading the solver",
        ),
    )
