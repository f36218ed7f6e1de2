"""Run the benches, print what came of them, and keep it in docs/benchmarks.md.

python -m bench.run             all of them; the page is written
python -m bench.run items       some of them; nothing is written

Exit code 1 where a bound is not kept.
"""

import sys
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from bench.machine import machine
from bench.measure import Measure
from bench.priority import raised_priority
from bench.table import BENCHES, Bench

__all__ = ["PAGE", "main", "page"]

PAGE = Path(__file__).parents[1] / "docs" / "benchmarks.md"
_HEAD = """\
# Benchmarks

Made by `make bench`, on the machine named below, in one run. A bench is one file in `bench/` with a line in `bench/table.py`. Bounds are
ratios or spans within the run: another machine gives other figures, and should keep the same bounds. Work of one thread is told by its
processor time; where two cores are the matter, by the best of several tries on the clock, beside what two programs at the same time bring
there. As root the run has a high priority while it lasts: otherwise the others on the machine are measured. A bound that was not kept is
printed as that.
"""


def main(names: Sequence[str]) -> int:
    """Run the named benches, all without a name. Returns: the exit code."""
    known = {bench.name: bench for bench in BENCHES}
    if unknown := [name for name in names if name not in known]:
        print(f"no bench {', '.join(unknown)}; there are {', '.join(known)}", file=sys.stderr)
        return 2
    with raised_priority() as priority:
        on = (*machine(), ("priority", priority))
        for label, text in on:
            print(f"{label + ':':<20}{text}")
        results = _measured([known[name] for name in names] or BENCHES)
    if not names:
        PAGE.write_text(page(on, results, datetime.now(UTC)), encoding="utf-8")
        print(f"\nwritten: {PAGE.relative_to(PAGE.parents[1])}")
    return 0 if all(figure.kept for _, figures in results for figure in figures) else 1


def _measured(benches: Sequence[Bench]) -> list[tuple[Bench, tuple[Measure, ...]]]:
    """Run them, and print each result as soon as it is there."""
    results = []
    for bench in benches:
        print(f"\n{bench.title}", flush=True)
        with tempfile.TemporaryDirectory() as folder:
            figures = bench.measure(Path(folder))
        for figure in figures:
            bound = (
                f" ({_bound(figure)}{'' if figure.kept else ': NOT KEPT'})"
                if figure.bound is not None
                else ""
            )
            print(f"  {figure.what}: {_value(figure)}{bound}\n    {figure.beside}", flush=True)
        results.append((bench, figures))
    return results


def page(
    on: Sequence[tuple[str, str]], results: Sequence[tuple[Bench, Sequence[Measure]]], at: datetime
) -> str:
    """The page of a run as Markdown."""
    lines = [_HEAD, f"Run of {at:%Y-%m-%d %H:%M} UTC.", "", "| machine | |", "| --- | --- |"]
    lines += [f"| {label} | {text} |" for label, text in on]
    for bench, figures in results:
        lines += [
            "",
            f"## {bench.title}",
            "",
            "| what | result | bound | kept | made from |",
            "| --- | --- | --- | --- | --- |",
        ]
        for figure in figures:
            kept = "" if figure.bound is None else "yes" if figure.kept else "**no**"
            lines.append(
                f"| {figure.what} | {_value(figure)} | {_bound(figure)} | {kept} | {figure.beside} |"
            )
    return "\n".join(lines) + "\n"


def _value(figure: Measure) -> str:
    return f"{figure.value:.2f} {figure.unit}"


def _bound(figure: Measure) -> str:
    if figure.bound is None:
        return ""
    word = "at least" if figure.at_least else "at most"
    return f"{word} {figure.bound:g} {figure.unit}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
