"""A folder that appears whole or not at all: filled under another name, renamed at the end.

What a killed run leaves is ``NAME.unfinished``, with a file in it that says so; the next run clears it.

Source: rename(2); flock(2) on the folder itself, which ends with its process.
"""

import fcntl
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final

from staddle.kernel import InputRefused, NotAllowed, OutsideFailed

__all__ = ["MARK", "staged", "sync_folder"]

MARK: Final = "UNFINISHED.txt"
_MARK_TEXT: Final = (
    "staddle was writing packages here and was stopped. Nothing in this folder is whole.\n"
    "Delete it, or run the same command again, which clears it first.\n"
)


@contextmanager
def staged(out: Path, *, mode: int = 0o755) -> Iterator[Path]:
    """A folder to fill, that becomes ``out`` when the block ends without an error.

    Args: out: not there yet, or an empty folder; mode: of the new folder.
    Raises: InputRefused: something lies there. NotAllowed: another run is writing it. OutsideFailed: the file system refuses;
        nothing was left behind.
    """
    if out.is_symlink() or (out.exists() and (not out.is_dir() or any(out.iterdir()))):
        raise InputRefused.one(
            "there is something already",
            where=str(out),
            why="what lies there is not written over",
            mend="name a folder that is not there yet, or remove this one",
        )
    stage = out.with_name(out.name + ".unfinished")
    try:
        stage.mkdir(parents=True, exist_ok=True)
        handle = os.open(stage, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
    except OSError as exc:
        raise _failed(exc, stage) from exc
    try:
        _hold(handle, stage)
        _clear(stage)
        fresh = stage / out.name
        try:
            (stage / MARK).write_text(_MARK_TEXT, encoding="utf-8")
            fresh.mkdir(mode=mode)
            yield fresh
            fresh.rename(out)
            sync_folder(out.parent)
        except OSError as exc:
            raise _failed(exc, out) from exc
        finally:
            with suppress(OSError):
                _clear(stage)
                stage.rmdir()
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """See to it that the names in a folder are on the disk."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _hold(handle: int, stage: Path) -> None:
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as exc:
        raise NotAllowed.one(
            "another run is writing there",
            where=str(stage),
            mend="let it finish, or name another folder",
        ) from exc


def _clear(stage: Path) -> None:
    # Only what is marked as ours is removed; the mark goes last, so that a run killed meanwhile leaves it.
    found = [path for path in stage.iterdir() if path.name != MARK]
    if found and not (stage / MARK).is_file():
        raise InputRefused.one(
            "a folder of the name for unfinished work holds something else",
            where=str(stage),
            why=f'it has no "{MARK}", so nothing shows that it may be cleared',
            mend="look what it is, and remove or rename it",
        )
    for path in found:
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()
    (stage / MARK).unlink(missing_ok=True)


def _failed(exc: OSError, where: Path) -> OutsideFailed:
    return OutsideFailed.one(
        f"the packages cannot be written: {exc.strerror or exc}",
        where=str(where),
        mend="make room or mend the rights, then run again; nothing half-written was left",
    )
