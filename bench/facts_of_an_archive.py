"""How long the facts of a 50 GiB archive take. Its disks are sparse: whoever reads them instead of passing over them is found out.

The headers are listed by tarfile of the standard library, for comparison.
"""

import sys
import tarfile
from datetime import UTC, datetime
from pathlib import Path

from bench.descriptors import descriptor
from bench.measure import Measure, best_cpu_s, child_cpu_s
from staddle.package import read_package
from staddle.package.tarwriting import END, padding, tar_header

__all__ = ["TITLE", "measure"]

TITLE = "Facts of a 50 GiB archive"
_WHOLE = 50 << 30
_CHUNK = 64 << 20
_FEW = 8
_MADE_AT = datetime(2026, 1, 1, tzinfo=UTC)


def measure(place: Path) -> tuple[Measure, ...]:
    """The archive in eight files, and in 800 chunks of 64 MiB, where there are headers to list."""
    few = _archive(
        place / "few.ova",
        descriptor(files=[f'ovf:href="disk{n}.img"' for n in range(_FEW)]),
        [f"disk{n}.img" for n in range(_FEW)],
        _WHOLE // _FEW,
    )
    many = _archive(
        place / "many.ova",
        descriptor(files=[f'ovf:href="disk.img" ovf:chunkSize="{_CHUNK}"']),
        [f"disk.img.{n:09d}" for n in range(_WHOLE // _CHUNK)],
        _CHUNK,
    )
    start = child_cpu_s([sys.executable, "-c", "import staddle.cli.main, staddle.cli.package"], tries=5)
    command = [sys.executable, "-m", "staddle", "package", "--no-verify"]
    whole = child_cpu_s([*command, str(few)], tries=5)
    figures = []
    for path, told, bound in ((many, "800 chunks", 1.5), (few, "8 files", None)):
        listing = best_cpu_s(lambda path=path: _list(path), tries=15)  # type: ignore[misc]  # bound at once
        facts = best_cpu_s(lambda path=path: read_package(path), tries=15)  # type: ignore[misc]
        figures.append(
            Measure(
                what=f"facts against listing the headers, {told}",
                value=facts / listing,
                unit="×",
                bound=bound,
                beside=f"{facts * 1000:.1f} ms, {listing * 1000:.1f} ms by tarfile",
            )
        )
    return (
        Measure(
            what="staddle package --no-verify beyond its start-up",
            value=whole - start,
            unit="s",
            bound=0.3,
            beside=f"{whole:.2f} s, of which {start:.2f} s start-up",
        ),
        *figures,
    )


def _archive(path: Path, text: bytes, names: list[str], size: int) -> Path:
    with path.open("wb") as file:
        file.write(tar_header("box.ovf", len(text), made_at=_MADE_AT) + text + padding(len(text)))
        for name in names:
            file.write(tar_header(name, size, made_at=_MADE_AT))
            file.seek(size + len(padding(size)), 1)
        file.write(END)
    return path


def _list(path: Path) -> None:
    with tarfile.open(path, "r:") as tar:
        tar.getmembers()
