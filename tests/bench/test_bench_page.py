"""The benches are listed, and their page tells a missed bound as missed. Their figures are no test's matter."""

from datetime import UTC, datetime
from pathlib import Path

from bench.descriptors import descriptor
from bench.measure import Measure
from bench.run import PAGE, main, page
from bench.table import BENCHES
from staddle.package import read_package

ROOT = Path(__file__).parents[2]


def test_every_bench_stands_in_the_table_and_on_the_page() -> None:
    modules = {
        path.stem
        for path in (ROOT / "bench").glob("*.py")
        if "def measure(" in path.read_text(encoding="utf-8")
    }
    assert {bench.measure.__module__.removeprefix("bench.") for bench in BENCHES} == modules
    kept = PAGE.read_text(encoding="utf-8")
    assert [line.removeprefix("## ") for line in kept.splitlines() if line.startswith("## ")] == [
        bench.title for bench in BENCHES
    ]


def test_a_missed_bound_is_told_as_missed() -> None:
    figures = [
        Measure(what="rate", value=1.7, unit="×", bound=1.8, at_least=True, beside="a"),
        Measure(what="span", value=0.3, unit="s", bound=0.3, beside="b"),
        Measure(what="told", value=9, unit="s", beside="c"),
    ]
    text = page([("processor", "p")], [(BENCHES[0], figures)], datetime(2026, 1, 1, tzinfo=UTC))
    assert "| rate | 1.70 × | at least 1.8 × | **no** | a |" in text
    assert "| span | 0.30 s | at most 0.3 s | yes | b |" in text
    assert "| told | 9.00 s |  |  | c |" in text
    assert "Run of 2026-01-01 00:00 UTC." in text


def test_an_unknown_bench_is_wrong_usage() -> None:
    assert main(["nothing-of-that-name"]) == 2


def test_the_descriptors_of_the_benches_are_sound(tmp_path: Path) -> None:
    (tmp_path / "box.ovf").write_bytes(descriptor(items=2_000))
    assert len(read_package(tmp_path / "box.ovf").hardware[0].adapters) == 1_998
