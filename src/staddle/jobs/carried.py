"""package --check: whether files that were carried here are the pinned package."""

import re
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path

from staddle.jobs.design import design_of
from staddle.jobs.folder import JobFolder
from staddle.jobs.origins import origin_check
from staddle.kernel import InputRefused
from staddle.package import OriginCheck, Verification, check_package

__all__ = ["check_carried"]


def check_carried(
    path: Path,
    *,
    sha256: str,
    job: Path,
    now: datetime,
    anchors: Sequence[Path] = (),
    progress: Callable[[int, int], None] | None = None,
) -> Verification:
    """Whether files that were carried here are the pinned package. Neither descriptor nor job folder is needed.

    Args: sha256: the pinned digest; "" takes that of the design in the folder ``job``, and the design's anchors with it.
    Raises: InputRefused: no digest is pinned, these files are another package, or they are damaged.
    """
    files = list(anchors)
    pinned = sha256.strip().lower()
    folder = JobFolder(root=job.resolve())
    if not pinned and folder.design.is_file():
        design = design_of(folder)
        pinned = design.package.sha256
        files += [folder.beside_design(name) for name in design.package.anchors]
    if re.fullmatch(r"[0-9a-f]{64}", pinned) is None:
        raise InputRefused.one(
            f'"{sha256}" is not a SHA-256' if sha256 else "no digest is pinned to compare with",
            where="--sha256" if sha256 else "design.yaml: package.sha256",
            why="64 hexadecimal digits are expected",
            mend="name it with --sha256: staddle package FILE prints it where the package came from",
        )
    origin: OriginCheck = origin_check(files, now)
    return check_package(path, pinned=pinned, origin=origin, progress=progress)
