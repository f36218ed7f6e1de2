"""Folders of a rehearsal's machines and disks, each with the tag that says whose it is.

Everything that is made appears by one rename, with its tag already inside: a kill at any moment leaves either the
whole thing or something that no look takes for it. What is being made or removed stands beside it under a name that
holds the tag's digest, so that a leftover says whose it is even while it is still empty.
"""

import hashlib
import json
import shutil
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from staddle.kernel import Fault, OutcomeUnknown, OutsideFailed
from staddle.kernel.wholefile import replace_file

__all__ = [
    "Belonging",
    "find_belonging",
    "find_leftover",
    "foreign_fault",
    "make_folder",
    "remove_folder",
    "write_file",
]

_TAG_FILE: Final = "tag.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class Belonging:
    """Whose a folder is, and under which id the platform knows it."""

    tag: str
    platform_id: str
    facts: Mapping[str, object]


def find_belonging(folder: Path) -> Belonging | None:
    """What the folder's tag says; None where there is no folder. A folder without a tag belongs to nobody we know."""
    try:
        found = json.loads((folder / _TAG_FILE).read_text(encoding="utf-8"))
        return Belonging(tag=str(found["tag"]), platform_id=str(found["platform_id"]), facts=found["facts"])
    except (FileNotFoundError, NotADirectoryError, ValueError, KeyError, TypeError):
        # Not JSON, or somebody else's form of it: not ours, whatever it is.
        return Belonging(tag="", platform_id="", facts={}) if folder.exists() else None


def find_leftover(folder: Path, tag: str) -> Path | None:
    """What a killed try to make or remove this folder has left beside it; only what this tag left."""
    return next((place for place in _beside(folder, tag) if place.exists()), None)


def _beside(folder: Path, tag: str) -> tuple[Path, Path]:
    """Where the folder is made, and where it is removed, under this tag."""
    mark = hashlib.sha256(tag.encode()).hexdigest()[:10]
    return folder.with_name(f".new-{mark}-{folder.name}"), folder.with_name(f".gone-{mark}-{folder.name}")


def foreign_fault(folder: Path, tag: str) -> Fault | None:
    """The fault to report if the folder exists and is not ours; None otherwise."""
    belonging = find_belonging(folder)
    if belonging is None or belonging.tag == tag:
        return None
    return Fault(
        what=f'"{folder.name}" exists already and is not ours',
        where=str(folder.parent.name),
        why=f"it carries the tag {belonging.tag!r}, ours is {tag!r}; what is not ours is never changed",
        mend="find out whose it is; give this job or member another name, or have its owner remove it",
    )


def make_folder(folder: Path, *, tag: str, facts: Mapping[str, object]) -> None:
    """Make the folder with its tag, at once. Does nothing if it is there already.

    Raises: OutsideFailed: what is there is not ours, or the disk is full or refuses; nothing was made.
    """
    if fault := foreign_fault(folder, tag):
        raise OutsideFailed(fault)
    if folder.exists():
        return
    fresh, _ = _beside(folder, tag)
    body = {"tag": tag, "platform_id": str(uuid.uuid4()), "facts": dict(facts)}
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(fresh, ignore_errors=True)  # what an earlier try was killed over
        fresh.mkdir(mode=0o700)
        write_file(fresh / _TAG_FILE, json.dumps(body, indent=1).encode())
        fresh.rename(folder)
    except (OSError, OutsideFailed) as exc:
        shutil.rmtree(fresh, ignore_errors=True)
        cause = exc.__cause__ if isinstance(exc, OutsideFailed) else exc
        if isinstance(cause, OSError):
            raise _refused(folder, cause) from exc
        raise


def write_file(path: Path, content: bytes) -> None:
    """Write a file with owner-only rights, whole or not at all.

    Raises: OutsideFailed: the disk is full or refuses.
    """
    try:
        replace_file(path, content, mode=0o600)
    except OSError as exc:
        raise _refused(path, exc) from exc


def _refused(path: Path, exc: OSError) -> OutsideFailed:
    return OutsideFailed.one(
        f"{path.name} could not be written: {exc.strerror}",
        where=str(path.parent),
        mend="make room, then run again",
    )


def remove_folder(folder: Path, *, tag: str) -> None:
    """Remove the folder if it carries the tag. The name is free at once, however long the removal takes.

    Raises: OutsideFailed: it is not ours; nothing was changed. OutcomeUnknown: a part of it is left.
    """
    if fault := foreign_fault(folder, tag):
        raise OutsideFailed(fault)
    fresh, gone = _beside(folder, tag)
    try:
        for left in (fresh, gone):
            if left.exists():
                shutil.rmtree(left)
        if folder.exists():
            folder.rename(gone)
            shutil.rmtree(gone)
    except OSError as exc:
        raise OutcomeUnknown.one(
            f"{folder.name} could not be removed whole: {exc.strerror}",
            where=str(folder.parent),
            mend="mend the rights or the disk, then run the same command again",
        ) from exc
