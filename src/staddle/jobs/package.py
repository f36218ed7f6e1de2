"""package: what the package holds, and whether it is intact."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from staddle.design.reader import read_design
from staddle.jobs.folder import JobFolder
from staddle.package import Package, Verification, read_package, verify_package

__all__ = ["PackageReport", "look_into_package", "package_of_job"]


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


def package_of_job(folder: JobFolder, *, verify: bool) -> tuple[Path, str, PackageReport]:
    """The package that a job's design names, whatever else of the job can be read.

    Returns: its path, the id of the size that the job takes, and the report.
    Raises: InputRefused, OutsideFailed: the design or the package cannot be read.
    """
    design = read_design(folder.design.read_text(encoding="utf-8"), where="design.yaml").design
    path = folder.beside_design(design.package.file)
    report = look_into_package(path, verify=verify)
    return path, design.package.size or report.package.default_size(), report
