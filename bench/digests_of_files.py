"""How fast files are digested, against "openssl dgst -sha256". The files are sparse, so that no disk is measured."""

import os
import subprocess
import time
from pathlib import Path

from bench.descriptors import descriptor
from bench.measure import Measure, best_cpu_s, best_wall_s, child_cpu_s
from staddle.package import verify_package

__all__ = ["TITLE", "measure"]

TITLE = "Digests of 4 GiB"
_WHOLE = 4 << 30
_TRIES = 5


def measure(place: Path) -> tuple[Measure, ...]:
    """One file by processor time, two files by the clock on the wall, since there the cores are the matter."""
    one, two = _package(place / "one", 1), _package(place / "two", 2)
    openssl = _WHOLE / child_cpu_s(_openssl(one), tries=_TRIES)
    ours = _WHOLE / best_cpu_s(lambda: verify_package(one), tries=_TRIES)
    alone = together = side_by_side = float("inf")
    for _ in range(_TRIES):  # by turns, so that all see the same machine
        alone = min(
            alone,
            best_wall_s(lambda: subprocess.run(_openssl(two), check=True, capture_output=True), tries=1),
        )
        together = min(together, best_wall_s(lambda: verify_package(two), tries=1))
        side_by_side = min(side_by_side, best_wall_s(lambda: _each_by_openssl(two), tries=1))
    free = _free_cores()
    return (
        Measure(
            what="one file of 4 GiB, rate against openssl",
            value=ours / openssl,
            unit="×",
            bound=0.95,
            at_least=True,
            beside=f"{ours / 1e9:.2f} GB/s, {openssl / 1e9:.2f} GB/s by openssl",
        ),
        Measure(
            what="two files of 2 GiB, rate against openssl",
            value=alone / together,
            unit="×",
            bound=1.8,
            at_least=True,
            beside=f"{together:.1f} s, {alone:.1f} s by openssl, on {os.cpu_count()} cores of which {free:.1f} were free",
        ),
        Measure(
            what="the same by two openssl at the same time: what a second core could bring at that moment",
            value=alone / side_by_side,
            unit="×",
            beside=f"{side_by_side:.1f} s",
        ),
    )


def _package(place: Path, files: int) -> Path:
    place.mkdir()
    for number in range(files):
        with (place / f"disk{number}.img").open("wb") as file:
            file.truncate(_WHOLE // files)
    (place / "box.ovf").write_bytes(descriptor(files=[f'ovf:href="disk{n}.img"' for n in range(files)]))
    return place


def _openssl(place: Path) -> list[str]:
    return ["openssl", "dgst", "-sha256", *(str(path) for path in sorted(place.glob("*.img")))]


def _each_by_openssl(place: Path) -> None:
    *command, first, second = _openssl(place)
    at_work = [subprocess.Popen([*command, path], stdout=subprocess.DEVNULL) for path in (first, second)]
    if any(process.wait() for process in at_work):
        raise RuntimeError("openssl could not read the files")


def _free_cores() -> float:
    """How many cores did nothing for a second: what a second core can bring depends on it (proc(5), stat)."""

    def idle_ticks() -> int:
        fields = Path("/proc/stat").read_text(encoding="ascii").splitlines()[0].split()
        return int(fields[4]) + int(fields[5])

    before = idle_ticks()
    time.sleep(1)
    return (idle_ticks() - before) / os.sysconf("SC_CLK_TCK")
