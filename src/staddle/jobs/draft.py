"""draft: what is known of a job before it is begun: its package and where its estate's tables lie. Kept in the private part.

With the eight answers it becomes the design (jobs/begin.py), and the draft goes.
"""

import json
import re
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final

from staddle.design.questions import QUESTIONS
from staddle.jobs.begin import seen_from_job
from staddle.jobs.folder import JobFolder, write_bytes, write_text
from staddle.jobs.gather import design_of
from staddle.jobs.package import PackageReport, look_into_package
from staddle.kernel import InputRefused, NotAllowed

__all__ = [
    "Draft",
    "drop_draft",
    "estate_place",
    "is_begun",
    "name_estate",
    "name_package",
    "package_of_draft",
    "packages_near",
    "read_draft",
    "upload_package",
]

_MOST_NEAR: Final = 20
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9._+-]{0,120}\.ova", re.ASCII | re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """Paths as a design writes them, seen from the job folder. ``package`` is "" until one is named."""

    package: str = ""
    estate: str = next(question.default for question in QUESTIONS if question.key == "estate")


def is_begun(folder: JobFolder) -> bool:
    """Whether there is a design."""
    return folder.design.is_file()


def read_draft(folder: JobFolder) -> Draft:
    """What was named so far; the defaults where nothing was, or where the file is not one of ours."""
    try:
        told = json.loads(_place(folder).read_text(encoding="utf-8"))
        return Draft(package=str(told["package"]), estate=str(told["estate"]))
    except (OSError, ValueError, KeyError, TypeError):
        return Draft()


def name_package(folder: JobFolder, written: str) -> Draft:
    """Take the package at that path, which is looked into first.

    Args: written: seen from the job folder or from where the program was started.
    Raises: NotAllowed: the job is begun. InputRefused, OutsideFailed: there is no such package, or it has faults.
    """
    _refuse_begun(folder)
    seen = seen_from_job(folder.root, written.strip())
    look_into_package((folder.root.resolve() / seen).resolve(), verify=False)
    return _keep(folder, replace(read_draft(folder), package=seen))


def upload_package(folder: JobFolder, name: str, content: bytes) -> Draft:
    """Keep an OVA in the job folder under its own name, and take it. One with faults is not kept.

    Raises: NotAllowed: the job is begun, or a file of that name is there. InputRefused: no OVA, or it has faults.
    """
    _refuse_begun(folder)
    if not _NAME.fullmatch(name):
        raise InputRefused.one(
            f'"{name}" is not the name of an OVA',
            why="a name has letters, digits, dots and hyphens, and ends with .ova",
            mend="rename it; a package of several files is named by the path of its OVF",
        )
    path = folder.root / name
    if path.exists():
        raise NotAllowed.one(
            f"there is a file {name} already", where=str(folder.root), mend="name it by its path"
        )
    folder.make()
    write_bytes(path, content)
    try:
        look_into_package(path, verify=False)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return _keep(folder, replace(read_draft(folder), package=name))


def name_estate(folder: JobFolder, written: str) -> Draft:
    """Say where the estate's tables lie, or will be written. Raises: NotAllowed: the job is begun; InputRefused: a file is there."""
    _refuse_begun(folder)
    seen = seen_from_job(folder.root, written.strip())
    there = folder.beside_design(seen)
    if there.exists() and not there.is_dir():
        raise InputRefused.one(f"{there} is a file", mend="name the folder of the tables")
    return _keep(folder, replace(read_draft(folder), estate=seen))


def drop_draft(folder: JobFolder) -> None:
    """The design says it now."""
    _place(folder).unlink(missing_ok=True)


def estate_place(folder: JobFolder) -> Path:
    """Where the estate's tables lie, by the design or by what was named before it. Raises: InputRefused: the design has faults."""
    written = design_of(folder).job.estate if is_begun(folder) else read_draft(folder).estate
    return folder.beside_design(written)


def package_of_draft(folder: JobFolder, now: datetime, *, verify: bool) -> tuple[Path, str, PackageReport]:
    """As package_of_job, before there is a design: the size is the package's own default.

    Raises: InputRefused, OutsideFailed: none was named, or it cannot be read.
    """
    draft = read_draft(folder)
    if not draft.package:
        raise InputRefused.one(
            "no package was named yet", where=str(folder.root), mend="name one on the sheet Begin"
        )
    path = folder.beside_design(draft.package)
    report = look_into_package(path, verify=verify, now=now)
    return path, report.package.default_size(), report


def packages_near(folder: JobFolder) -> tuple[str, ...]:
    """Packages in the job folder and beside it, as a design would write them."""
    found = []
    for place, prefix in ((folder.root, ""), (folder.root.parent, "../")):
        for suffix in ("*.ova", "*.ovf"):
            found += [f"{prefix}{path.name}" for path in sorted(place.glob(suffix)) if path.is_file()]
    return tuple(found[:_MOST_NEAR])


def _refuse_begun(folder: JobFolder) -> None:
    if is_begun(folder):
        raise NotAllowed.one(
            "the job is begun: its design says this", where=str(folder.design), mend="edit design.yaml"
        )


def _place(folder: JobFolder) -> Path:
    return folder.private / "begin.json"


def _keep(folder: JobFolder, draft: Draft) -> Draft:
    folder.make()
    write_text(_place(folder), json.dumps(asdict(draft)))
    return draft
