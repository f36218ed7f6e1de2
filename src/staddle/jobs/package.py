"""package: what the package holds, and whether it is intact."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from staddle.package import (
    Package,
    SizeFigures,
    Verification,
    read_machines,
    read_package,
    size_figures,
    verify_package,
)

__all__ = ["PackageReport", "look_into_package"]


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
    progress: Callable[[int, int], None] | None = None,
) -> PackageReport:
    """Read a package and check every digest of it.

    Args: machine: the id of the machine to tell of; "" for all that the package holds.
    Raises: InputRefused: every fault of the descriptor, or every file that does not have its digest.
    """
    if machine:
        packages: tuple[Package, ...] = (read_package(path, lang=lang, machine=machine),)
    else:
        packages = read_machines(path, lang=lang)
    return PackageReport(
        package=packages[0],
        verification=verify_package(path, progress=progress) if verify else None,
        figures=_figures(packages[0]),
        others=tuple((other, _figures(other)) for other in packages[1:]),
    )


def _figures(package: Package) -> tuple[SizeFigures, ...]:
    return tuple(size_figures(package, size.size_id) for size in package.sizes)
