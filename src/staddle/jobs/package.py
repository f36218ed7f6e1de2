"""package: what the package holds, whether it is intact, and whose it is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.jobs.origins import origin_check
from staddle.package import Package, Verification, read_package, verify_package

__all__ = ["PackageReport", "look_into_package"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageReport:
    """The package as read, and as verified (None where that was not asked for)."""

    package: Package
    verification: Verification | None


def look_into_package(
    path: Path,
    *,
    lang: str = "en-US",
    verify: bool = True,
    now: datetime | None = None,
    anchors: Sequence[Path] = (),
    progress: Callable[[int, int], None] | None = None,
) -> PackageReport:
    """Read a package, check every digest of it, and who signed it.

    Args: now: the instant at which the signer's certificate is judged, None to leave that and the anchors aside.
    Raises: InputRefused: every fault of the descriptor, every file that does not have its digest, or a wrong signature.
    """
    package = read_package(path, lang=lang)
    origin = None if now is None else origin_check(anchors, now)
    return PackageReport(
        package=package,
        verification=verify_package(path, origin=origin, progress=progress) if verify else None,
    )
