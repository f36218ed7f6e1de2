"""A search that has a deadline: real processes, a real alarm, questions that no search answers in that time."""

import json
from pathlib import Path

from tests.cli.demo_job import demo_job, staddle
from tests.placement.search_process import search_process

# Falkenauer t60_00 in 20 bins has an answer, and this search does not find it in an hour (test_placement_packing.py).
# N1C1W1_B in 33 bins is found at once; least fill and least shared fate take far longer to be proven.
_SEARCH = """
import json
from pathlib import Path
from datetime import timedelta
from staddle.cli.searching import ends_after
from staddle.placement.solve import solve
from tests.placement.questions import bins
from tests.placement.test_placement_packing import N1C1W1_B, T60_00
problem = bins({items}, {capacity}, {count})
with ends_after(timedelta(seconds={seconds})):
    outcome = solve(problem, deterministic_limit_s=1e5)
print(json.dumps([type(outcome).__name__, getattr(outcome, "stopped", None), getattr(outcome, "limit", "")]))
"""


def outcome_of(items: str, capacity: int, count: int, seconds: float) -> list[object]:
    """The type of the outcome, whether it was stopped, and its limit."""
    code = _SEARCH.format(items=items, capacity=capacity, count=count, seconds=seconds)
    with search_process(code) as process:
        assert process.stdout is not None
        lines = process.stdout.read().splitlines()
        assert process.wait(timeout=120) == 0
    found: list[object] = json.loads(lines[-1])
    return found


def test_past_its_deadline_what_exists_is_not_found_and_never_said_not_to_exist() -> None:
    assert outcome_of("T60_00", 1000, 20, 2) == ["NotFoundInTime", None, "the time given"]


def test_past_its_deadline_the_best_so_far_is_called_good_where_there_is_one() -> None:
    kind, stopped, _ = outcome_of("N1C1W1_B", 100, 33, 6)
    assert (kind, stopped) in (("GoodWithBound", True), ("NotFoundInTime", None))


def test_a_deadline_that_is_not_reached_changes_nothing(tmp_path: Path) -> None:

    done = staddle("place", "--deadline", "1 h", "--json", job=demo_job(tmp_path), timeout_s=300)
    assert done.returncode == 0
    assert json.loads(done.stdout)["outcome"] == "best shown"
