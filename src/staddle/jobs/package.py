"""package: what the package holds, whether it is intact, and whose it is."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from staddle.jobs.design import design_of
from staddle.jobs.folder import JobFolder
from staddle.jobs.origins import origin_check
from staddle.package import (
    Package,
    SizeFigures,
    Verification,
    read_machines,
    read_package,
    size_figures,
    verify_package,
)

__all__ = ["PackageReport", "look_into_package", "package_of_job"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PackageReport:
    """The package as read, and as verified (None where that was not asked for).

    ``package`` tells of one machine, ``figures`` of each of its sizes; ``others`` are the further machines, each with
    its own.
    """

    package: Package
    verification: Verification | None
    figures: tuple[SizeFigures, ...] = ()
    others: tuple[tuple[Package, tuple[SizeFigures, ...]], ...] = ()


def look_into_package(
    path: Path,
    *,
    lang: str = "en-US",
    machine: str = "",
    verify: bool = True,
    now: datetime | None = None,
    anchors: Sequence[Path] = (),
    progress: Callable[[int, int], None] | None = None,
) -> PackageReport:
    """Read a package, check every digest of it, and who signed it.

    Args: machine: the id of the machine to tell of; "" for all that the package holds; now: the instant at which the
        signer's certificate is judged, None to leave that and the anchors aside.
    Raises: InputRefused: every fault of the descriptor, every file that does not have its digest, or a wrong signature.
    """
    if machine:
        packages: tuple[Package, ...] = (read_package(path, lang=lang, machine=machine),)
    else:
        packages = read_machines(path, lang=lang)
    origin = None if now is None else origin_check(anchors, now)
    return PackageReport(
        package=packages[0],
        verification=verify_package(path, origin=origin, progress=progress) if verify else None,
        figures=_figures(packages[0]),
        others=tuple((other, _figures(other)) for other in packages[1:]),
    )


def package_of_job(folder: JobFolder, now: datetime, *, verify: bool) -> tuple[Path, str, PackageReport]:
    """The package that a job's design names, whatever else of the job can be read.

    Its signer is compared with the anchors of the design. Args: now: aware.
    Returns: its path, the id of the size that the job takes, and the report.
    Raises: InputRefused, OutsideFailed: the design or the package cannot be read.
    """
    design = design_of(folder)
    path = folder.beside_design(design.package.file)
    anchors = [folder.beside_design(name) for name in design.package.anchors]
    report = look_into_package(path, verify=verify, now=now, anchors=anchors)
    return path, design.package.size or report.package.default_size(), report


def _figures(package: Package) -> tuple[SizeFigures, ...]:
    return tuple(size_figures(package, size.size_id) for size in package.sizes)
