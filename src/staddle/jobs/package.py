"""package: what the package holds, and whether it is intact."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

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
    progress: Callable[[int, int], None] | None = None,
) -> PackageReport:
    """Read a package and check every digest of it.

    Raises: InputRefused: every fault of the descriptor, or every file that does not have its digest.
    """
    package = read_package(path, lang=lang)
    return PackageReport(
        package=package, verification=verify_package(path, progress=progress) if verify else None
    )
