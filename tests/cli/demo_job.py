"""The demo's job in a folder of its own, and the program run in it as a person runs it: a real process.

job = demo_job(tmp_path, block=183)
done = staddle("place", "--settle", "--yes", job=job)
"""

import functools
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Final

from demo.ousemoor_estate import demo_estate
from demo.sluicelog_package import build_package
from staddle.estate.writing import write_estate

__all__ = [
    "ENVIRONMENT",
    "PACKAGE",
    "PROGRAM",
    "demo_job",
    "free_block",
    "loopback_job",
    "open_window",
    "settle",
    "staddle",
]

PROGRAM: Final = str(Path(sys.executable).with_name("staddle"))
PACKAGE: Final = "sluicelog-4.2.0.ova"
_DESIGN: Final = Path(__file__).parents[2] / "demo" / "levels" / "design.yaml"
TODAY: Final = datetime.now(UTC).date()
SURVEYED: Final = TODAY - timedelta(days=3)

ENVIRONMENT: Final = {
    **{name: value for name, value in os.environ.items() if not name.startswith("STADDLE_")},
    "NO_COLOR": "1",
    "COLUMNS": "100",
    "TERM": "dumb",
}


def staddle(
    *arguments: str,
    job: Path | None = None,
    typed: str = "",
    cwd: Path | None = None,
    env: dict[str, str] | None = None,
    timeout_s: float = 90,
) -> "subprocess.CompletedProcess[str]":
    """Run the program to its end. Args: typed: standard input, after which it ends."""
    command = [PROGRAM, *arguments, *(() if job is None else ("--job", str(job)))]
    return subprocess.run(
        command,
        input=typed,
        capture_output=True,
        text=True,
        encoding="utf-8",
        cwd=cwd,
        env=ENVIRONMENT | (env or {}),
        timeout=timeout_s,
    )


def demo_job(root: Path, *, block: int | None = None) -> Path:
    """The job folder of the demo's design, with its estate and package beside it.

    Args: block: second octet of the loopback addresses on which it is rehearsed, another one in each test.
    """
    root.mkdir(parents=True, exist_ok=True)
    build_package(root)
    (root / "estate").mkdir()
    write_estate(demo_estate(surveyed=SURVEYED), root / "estate")
    job = root / "levels"
    job.mkdir()
    # A window that is still to come and waivers that still hold, on whatever day the tests run.
    opens, closes = (TODAY + timedelta(days=days) for days in (10, 11))
    window = f'opens: "{opens} 20:00", closes: "{closes} 02:00"'
    design = re.sub(r'opens: "[^"]+", closes: "[^"]+"', window, _DESIGN.read_text(encoding="utf-8"))
    (job / "design.yaml").write_text(design, encoding="utf-8")
    waivers = _DESIGN.with_name("waivers.yaml").read_text(encoding="utf-8")
    (job / "waivers.yaml").write_text(
        re.sub(r"(?m)^( +until: ).*$", rf"\g<1>{TODAY + timedelta(days=30)}", waivers), encoding="utf-8"
    )
    (job / "limits.yaml").write_bytes(_DESIGN.with_name("limits.yaml").read_bytes())
    if block is not None:
        own = job / "private" / "loopback"
        own.mkdir(parents=True, mode=0o700)
        (own / "settings.json").write_text(f'{{"block": {block}, "one_address": false, "speed": 0.15}}')
    return job


def open_window(job: Path) -> Path:
    """Another window in the design, open now: without it the change gate refuses a rollout. Returns: the job."""
    now = datetime.now(UTC)
    opens, closes = (f"{now + timedelta(hours=hours):%Y-%m-%d %H:%M}" for hours in (-1, 5))
    with (job / "design.yaml").open("a", encoding="utf-8") as design:
        design.write(f'\n  - {{opens: "{opens}", closes: "{closes}", zone: UTC}}\n')
    return job


def loopback_job(root: Path, *, block: int, is_open: bool = True) -> Path:
    """The same job by hand, on an estate whose networks are loopback ones: what a person starts there can be reached.

    Args: is_open: with a window that is open now, so that everything is due.
    """
    job = demo_job(root)
    estate = demo_estate(surveyed=SURVEYED)
    thirds = {"om-management": 2, "om-telemetry": 100}
    networks = tuple(
        replace(
            network,
            prefix=f"127.{block}.{thirds[network.name]}.0/24",
            gateway=f"127.{block}.{thirds[network.name]}.1",
            taken=(),
        )
        if network.name in thirds
        else network
        for network in estate.networks
    )
    write_estate(replace(estate, networks=networks), root / "estate")
    design = (job / "design.yaml").read_text(encoding="utf-8")
    design = design.replace("first: 192.0.2.61", f"first: 127.{block}.2.61")
    design = design.replace("first: 198.51.100.61", f"first: 127.{block}.100.61")
    (job / "design.yaml").write_text(design, encoding="utf-8")
    with (job / "waivers.yaml").open("a", encoding="utf-8") as waivers:
        waivers.write(
            "\n- rule: loopback-address\n  by: T. Sedgeley, network office\n"
            "  reason: a trial on one machine; whoever starts the members starts them beside the program\n"
            f"  until: {TODAY + timedelta(days=30)}\n"
        )
    return open_window(job) if is_open else job


def settle(job: Path) -> None:
    """Settle the placement of such a job. It is searched for once, since it is the same for all of them."""
    (job / "placement.yaml").write_text(_settled_text(), encoding="utf-8")


@functools.cache
def _settled_text() -> str:
    with tempfile.TemporaryDirectory() as folder:
        job = demo_job(Path(folder))
        done = staddle("place", "--settle", "--yes", job=job)
        assert done.returncode == 0, done.stderr
        return (job / "placement.yaml").read_text(encoding="utf-8")


def free_block() -> int:
    """A second octet, 181 to 220, on whose addresses nothing serves the members' port: two runs on one machine do not meet."""
    first = random.SystemRandom().randrange(40)
    for step in range(40):
        block = 181 + (first + step) % 40
        try:
            for last in (61, 62, 63):
                with socket.socket() as probe:
                    probe.bind((f"127.{block}.2.{last}", 8443))
        except OSError:
            continue
        return block
    raise AssertionError("no block of loopback addresses is free")
