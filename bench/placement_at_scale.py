"""The whole command place on a large estate: eight jobs of eight members each, all in one question."""

import json
from math import nan
from pathlib import Path
from typing import Final

from bench.large_estate import LargeEstate, large_estate
from bench.measure import Measure, child_use
from demo.sluicelog_package import build_package
from staddle.estate.writing import write_estate

__all__ = ["TITLE", "measure"]

TITLE = "Eight clusters of eight members each, placed together"
_JOBS: Final = 8
_MEMBERS: Final = 8
_COMMAND_S: Final = 15.0
_PEAK_GIB: Final = 2.0
_GAP_PERCENT: Final = 2.0
_FILLS: Final = (0.85, 0.98)
_BEST: Final = "best shown"
_GOOD: Final = "good with a bound"


def measure(place: Path) -> tuple[Measure, ...]:
    """The whole command at two fills: its processor time, its peak memory, how far the answer is from its bound."""
    figures: list[Measure] = []
    package = build_package(place)
    for full in _FILLS:
        wanted = LargeEstate(full=full)
        folder = place / f"full-{100 * full:g}"
        write_estate(large_estate(wanted), folder / "estate")
        first, *others = [_job(folder, number, package) for number in range(_JOBS)]
        command = ["place", "--json", "--job", str(first)]
        command += [part for other in others for part in ("--also", str(other))]
        use = child_use(command, exit_codes=(0, 1))  # 1 where no placement was found
        bound = full == _FILLS[0]
        figures += [
            Measure(
                what=f"whole command, {100 * full:g} % full",
                value=use.cpu_s,
                unit="s",
                bound=_COMMAND_S if bound else None,
                beside=f"{wanted.told()}; apart by host and rack, N+1 by host and by rack; processor time, "
                f"{use.wall_s:.1f} s on the wall",
            ),
            Measure(
                what=f"its peak memory, {100 * full:g} % full",
                value=use.peak_bytes / 1024**3,
                unit="GiB",
                bound=_PEAK_GIB if bound else None,
                beside="of the process, as the kernel tells it",
            ),
            _answer(json.loads(use.output), full, _GAP_PERCENT if bound else None),
        ]
    return tuple(figures)


def _job(folder: Path, number: int, package: Path) -> Path:
    job = folder / f"job-{number}"
    job.mkdir()
    leads = {0: ", leads: first", 1: ", leads: second"}
    members = "".join(f"  - {{name: c{number}-m{n}{leads.get(n, '')}}}\n" for n in range(_MEMBERS))
    (job / "design.yaml").write_text(
        f"""\
job: {{name: c{number}, cluster: c{number}, estate: ../estate}}
package: {{file: {package}, size: river, profile: sluicelog}}
members:
{members}apart: [host, rack]
survive: [any 1 host, any 1 rack]
names: {{zone: ousemoor.example}}
networks:
  - {{package: Management, estate: management, first: 192.0.2.{10 + 10 * number}}}
  - {{package: Telemetry, estate: data, first: 198.51.100.{10 + 10 * number}}}
""",
        encoding="utf-8",
    )
    return job


def _answer(document: dict[str, object], full: float, most: float | None) -> Measure:
    """How far the first level that was not shown to be the best may be from it, in per cent; 0 where all were shown.

    Where the search ended without a placement that is told, and not a number is the figure.
    """
    outcome, found = document["outcome"], document["data"]["found"]  # type: ignore[index]  # the command's own document
    what = f"first level not shown to be the best, above its bound, {100 * full:g} % full"
    if outcome not in (_BEST, _GOOD):
        return Measure(what=what, value=nan, unit="%", bound=most, beside=f"the search ended: {outcome}")
    levels = ", ".join(f"{name} {value:g}" for name, value in found["placement"]["levels"])
    gap, said = 0.0, "all levels are shown to be the best"
    if outcome == _GOOD:
        gap = 100 * (found["reached"] / found["bound"] - 1)
        said = f"{found['level']} {found['reached']:g}, nothing below {found['bound']:g}; those before it are shown"
    return Measure(what=what, value=gap, unit="%", bound=most, beside=f"{outcome}: {said}; {levels}")
