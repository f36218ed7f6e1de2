"""Broken off in the middle of the levels, a search gives the best so far: real processes, a real signal."""

import json
import signal

from tests.placement.search_process import search_process

# N1C1W1_B in 33 bins is found at once; least fill and least shared fate take far longer to be proven.
_SEARCH = """
import json, sys
from staddle.placement.model import GoodWithBound
from staddle.placement.solve import solve
from staddle.placement.verify import broken_rules
from tests.placement.questions import bins
from tests.placement.test_placement_packing import N1C1W1_B
problem = bins(N1C1W1_B, 100, 33)
outcome = solve(problem, deterministic_limit_s=1e5, progress=lambda text: print(text, flush=True))
assert isinstance(outcome, GoodWithBound)
levels = dict(outcome.placement.levels)
print(json.dumps({
    "stopped": outcome.stopped,
    "broken": broken_rules(problem, outcome.placement.seats),
    "bound": outcome.bound,
    "reached": outcome.reached,
    "level": outcome.level,
    "of the level": levels[outcome.level],
}))
"""


def test_ctrl_c_amid_the_levels_gives_the_best_so_far() -> None:
    with search_process(_SEARCH) as process:
        assert process.stdout is not None
        lines = iter(process.stdout.readline, "")
        # a placement is there, its levels are looked at
        assert any(line.startswith("least ") for line in lines)
        process.send_signal(signal.SIGINT)
        rest = list(lines)
        assert process.wait(timeout=120) == 0
    answer = json.loads(rest[-1])
    assert answer["stopped"] is True
    assert answer["broken"] == []
    assert answer["bound"] < answer["reached"] == answer["of the level"]
    assert "looking for the next best hosts\n" not in rest
