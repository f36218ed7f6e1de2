"""What a command loads: nothing that it does not use, since loading is most of what a short command takes."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.demo_job import ENVIRONMENT, demo_job

_ASK = """
import contextlib, io, json, sys
from staddle.cli.main import run
with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
    code = run(sys.argv[1:])
print(json.dumps([code, sorted(sys.modules)]))
"""


def loaded(*arguments: str) -> set[str]:
    """The modules that a process has after it has run a command, which must succeed."""
    done = subprocess.run(
        [sys.executable, "-c", _ASK, *arguments], capture_output=True, text=True, env=ENVIRONMENT, timeout=90
    )
    code, modules = json.loads(done.stdout)
    assert code == 0, done.stderr
    return set(modules)


@pytest.mark.parametrize("arguments", [("--help",), ("--version",)])
def test_what_tells_of_the_program_loads_no_room_but_the_kernel(arguments: tuple[str, ...]) -> None:
    modules = loaded(*arguments)
    rooms = {name.split(".")[1] for name in modules if name.startswith("staddle.")}
    assert rooms == {"cli", "kernel"}
    assert modules.isdisjoint({"asyncio", "markdown_it", "numpy", "pydantic"})


def test_place_loads_the_solver_and_nothing_that_carries_out_or_draws(tmp_path: Path) -> None:
    modules = loaded("place", "--job", str(demo_job(tmp_path)))
    assert "ortools.sat.python.cp_model" in modules
    rooms = {name.split(".")[1] for name in modules if name.startswith("staddle.")}
    assert rooms.isdisjoint({"review", "rollout", "proof", "platforms", "probes", "dossier", "plan", "web"})
    assert modules.isdisjoint({"asyncio", "sqlalchemy", "cryptography", "pandas", "jinja2", "h11"})
