"""The solver without its library of tables: it is the whole solver, and the library stays for whoever asks for it."""

import subprocess
import sys

_SMALL = """
import sys
{before}
from staddle.failures.solver import load_solver
load_solver()
load_solver()
from ortools.sat.python import cp_model
model = cp_model.CpModel()
x, y = (model.new_int_var(0, 10, name) for name in "xy")
model.add(3 * x + 2 * y <= 23)
model.add(x + y >= 9)
model.maximize(5 * x + 2 * y)
solver = cp_model.CpSolver()
assert solver.solve(model) == cp_model.OPTIMAL
print(solver.value(x), solver.value(y), "pandas" in sys.modules)
import pandas
print(pandas.Series([2, 3]).sum())
"""


def ran(before: str) -> list[str]:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", _SMALL.format(before=before)],
        capture_output=True,
        text=True,
        timeout=90,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_it_solves_and_the_tables_are_not_loaded() -> None:
    # By hand: x + y >= 9 and 3x + 2y <= 23 leave x <= 5; 25 + 8 is the most, at x = 5, y = 4.
    assert ran("") == ["5", "4", "False", "5"]


def test_where_the_tables_are_loaded_already_they_are_left_as_they_are() -> None:
    assert ran("import pandas") == ["5", "4", "True", "5"]
