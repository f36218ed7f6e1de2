"""How long a descriptor with 2,000 hardware items takes, against lxml's bare parse of the same bytes."""

from pathlib import Path

from lxml import etree

from bench.descriptors import descriptor
from bench.measure import Measure, best_cpu_s
from staddle.package import read_package

__all__ = ["TITLE", "measure"]

TITLE = "A descriptor with 2,000 items"
_ITEMS = 2_000


def measure(place: Path) -> tuple[Measure, ...]:
    """Reading everything, with all checks, against building the tree only."""
    path = place / "box.ovf"
    path.write_bytes(descriptor(items=_ITEMS))
    ours = parse = float("inf")
    for _ in range(10):  # by turns, so that both see the same machine
        parse = min(parse, best_cpu_s(lambda: etree.parse(str(path)), tries=3))
        ours = min(ours, best_cpu_s(lambda: read_package(path), tries=3))
    return (
        Measure(
            what="reading everything against lxml's bare parse",
            value=ours / parse,
            unit="×",
            bound=8,
            beside=f"{ours * 1000:.1f} ms, {parse * 1000:.1f} ms by lxml",
        ),
    )
