"""Files that only their owner may use: rights checked, replaced whole or not at all, written by one process at a time.

Nothing here knows what is inside (strongbox.py).

Source: rename(2), fsync(2), flock(2).
"""

import fcntl
import os
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final, NoReturn

from staddle.kernel import NotAllowed, OutcomeUnknown, OutsideFailed
from staddle.kernel.wholefile import leftovers, replace_file, sync_folder

__all__ = ["check_folder", "held", "make_folder", "read_guarded", "remove_guarded", "replace_guarded"]

_FILE_MODE: Final = 0o600


def make_folder(folder: Path) -> None:
    """Make the folder with mode 0700 if it is missing. Raises: OutsideFailed: cannot be made."""
    with _told(folder):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)


def check_folder(path: Path) -> None:
    """Check that the folder of this file is ours alone. Raises: OutsideFailed: missing, mode wider than 0700, not ours."""
    with _told(path.parent):
        folder = path.parent.stat()
    if stat.S_IMODE(folder.st_mode) & 0o077:
        _too_wide(path.parent, folder.st_mode, "700")
    if folder.st_uid != os.geteuid():
        raise OutsideFailed.one(
            "the folder belongs to somebody else",
            where=str(path.parent),
            why=f"its owner is user {folder.st_uid}, who could read or replace the files",
            mend="use a folder of your own",
        )


def _too_wide(path: Path, mode: int, wanted: str) -> NoReturn:
    raise OutsideFailed.one(
        f"others may use {path.name}: its mode is {stat.S_IMODE(mode):04o}, 0{wanted} is needed",
        where=str(path),
        why="what protects it is the file system",
        mend=f"run: chmod {wanted} '{path}'",
    )


def read_guarded(path: Path, *, most_bytes: int) -> bytes:
    """The first ``most_bytes`` of the file. Raises: OutsideFailed: cannot be read, a link, or others may use it."""
    with _told(path):
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC)
        with open(handle, "rb") as file:
            facts = os.fstat(handle)
            if stat.S_IMODE(facts.st_mode) & 0o077:
                _too_wide(path, facts.st_mode, "600")
            content = file.read(most_bytes)
    return content


def replace_guarded(path: Path, content: bytes) -> None:
    """Put new content in the place of a file, whole or not at all. Only for the holder of the lock.

    Raises: OutsideFailed: the file is as it was. OutcomeUnknown: replaced, but the disk did not confirm it.
    """
    with _told(path):
        for leftover in leftovers(path):  # of writers that were killed; encrypted, but ours
            leftover.unlink(missing_ok=True)
        replace_file(path, content, mode=_FILE_MODE)
    try:
        sync_folder(path.parent)
    except OSError as exc:
        raise OutcomeUnknown.one(
            f"{path.name} was replaced, but the disk did not confirm it: {exc.strerror}",
            where=str(path),
            mend="check the disk, then look whether the change is there",
        ) from exc


def remove_guarded(path: Path) -> None:
    """Remove the file if it is there. Raises: OutsideFailed: cannot be removed."""
    with _told(path):
        path.unlink(missing_ok=True)


@contextmanager
def held(path: Path, timeout_s: float) -> Iterator[None]:
    """Hold the lock of this file's writers. flock ends with its process: a killed writer leaves no lock behind.

    Raises: NotAllowed: held by another for all of ``timeout_s``. OutsideFailed: cannot be locked, or rights too wide.
    """
    check_folder(path)
    lock_path = path.with_name(path.name + ".lock")
    with _told(lock_path):
        handle = os.open(lock_path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, _FILE_MODE)
    try:
        deadline = time.monotonic() + timeout_s
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError as exc:
                if time.monotonic() >= deadline:
                    raise NotAllowed.one(
                        f"another process has been writing here for {timeout_s:g} s",
                        where=str(lock_path),
                        mend="see which one holds this file, let it finish, then run again",
                    ) from exc
            except OSError as exc:
                raise OutsideFailed.one(
                    f"this cannot be locked: {exc.strerror}",
                    where=str(lock_path),
                    mend="use a local disk",
                ) from exc
            time.sleep(0.005)
        yield
    finally:
        os.close(handle)


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Errors of the operating system, told as ours; nothing was changed when one is raised."""
    try:
        yield
    except OSError as exc:
        raise OutsideFailed.one(
            f"{path.name} cannot be used: {exc.strerror or exc}",
            where=str(path),
            mend="mend the disk or the rights, then run again; nothing was changed",
        ) from exc
