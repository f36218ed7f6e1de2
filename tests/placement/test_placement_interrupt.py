"""A search that is broken off ends at once, whatever it is at: a real process, a real signal."""

import signal

from tests.placement.search_process import search_process

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
    with search_process(_SEARCH) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "looking for any placement\n"
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=60) == 3
