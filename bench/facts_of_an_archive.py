"""How long the facts of a 50 GiB archive take. Its disks are sparse: whoever reads them instead of passing over them is found out.

The headers are listed by tarfile of the standard library, for comparison.
"""

import subprocess
import sys
import tarfile
from datetime import UTC, datetime
from pathlib import Path

from bench.descriptors import descriptor
from bench.measure import Measure, best_cpu_s
from staddle.package import read_package
from staddle.package.tarwriting import END, padding, tar_header

__all__ = ["TITLE", "measure"]

TITLE = "Facts of a 50 GiB archive"
_WHOLE = 50 << 30
_CHUNK = 64 << 20
_FEW = 8
# What the command does once its modules are there, whatever it loads only then; a difference of two processes would tell
# more of what else the machine did meanwhile.
_COMMAND = """
import sys, time
import staddle.cli.package
from staddle.cli.main import run
start = time.process_time()
code = run(["package", "--no-verify", sys.argv[1]])
sys.stderr.write(f"{time.process_time() - start} {start}")
sys.exit(code)
"""
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
    beyond, start = min(_beyond_start(few) for _ in range(7))
    figures = []
    for path, told, bound in ((many, "800 chunks", 1.5), (few, "8 files", None)):
        listing = facts = float("inf")
        for _ in range(15):
            listing = min(listing, best_cpu_s(lambda path=path: _list(path), tries=1))  # type: ignore[misc]  # bound at once
            facts = min(facts, best_cpu_s(lambda path=path: read_package(path), tries=1))  # type: ignore[misc]
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
            value=beyond,
            unit="s",
            bound=0.3,
            beside=f"{start:.2f} s of start-up came before it",
        ),
        *figures,
    )


def _beyond_start(path: Path) -> tuple[float, float]:
    """Processor time of the command in a process of its own: beyond its start-up, and its start-up, seconds."""
    told = subprocess.run(
        [sys.executable, "-c", _COMMAND, str(path)], check=True, capture_output=True, text=True
    ).stderr
    beyond, start = told.split()
    return float(beyond), float(start)


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
