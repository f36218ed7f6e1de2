"""A search that is broken off ends at once, whatever it is at: a real process, a real signal."""

import os
import signal
import subprocess
import sys
from pathlib import Path

# Falkenauer t60_00 in 20 bins is not answered in an hour by this search (test_placement_packing.py).
_SEARCH = """
import sys
from staddle.placement.solve import solve
from tests.placement.questions import bins
from tests.placement.test_placement_packing import T60_00
try:
    solve(bins(T60_00, 1000, 20), deterministic_limit_s=1e5, progress=lambda text: print(text, flush=True))
except KeyboardInterrupt:
    sys.exit(3)
"""


def test_ctrl_c_ends_a_search_that_would_take_hours() -> None:
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    with subprocess.Popen(
        [sys.executable, "-c", _SEARCH],
        stdout=subprocess.PIPE,
        env=environment,
        cwd=Path(__file__).parents[2],
        text=True,
    ) as process:
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "looking for any placement\n"
            process.send_signal(signal.SIGINT)
            assert process.wait(timeout=60) == 3
        finally:
            if process.poll() is None:
                process.kill()
