"""A file written whole or not at all, whoever else writes it at the same time. What its error means is the caller's to say.

The content is written beside the file under a name of its own and takes its place by one rename: whoever reads sees the old
content or the new one, and of two writers at once one is wholly the last. A killed writer leaves a hidden file beside it that
nothing reads.

Source: open(2), fsync(2), rename(2).
"""

import os
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Final

__all__ = ["leftovers", "replace_file", "sync_folder"]

_ANYBODY: Final = 0o666  # less what the process's umask takes away


def replace_file(path: Path, content: bytes, *, mode: int = _ANYBODY) -> None:
    """Put the content in the place of the file, and have the disk confirm the content first.

    Args: mode: the new file's rights before the umask; 0o600 for what only its owner may read.
    Raises: OSError: the file is as it was.
    """
    # Unguessable and refused where it exists, so that nobody can have laid a link there (open(2), O_EXCL).
    fresh = path.parent / f".{path.name}.{secrets.token_hex(8)}.new"
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_NOFOLLOW | os.O_CLOEXEC
    try:
        with open(os.open(fresh, flags, mode), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        fresh.replace(path)
    except BaseException:
        with suppress(OSError):
            fresh.unlink(missing_ok=True)
        raise


def leftovers(path: Path) -> tuple[Path, ...]:
    """What killed writers of this file left beside it, or what others are writing just now: remove only under a lock."""
    return tuple(path.parent.glob(f".{path.name}.????????????????.new"))


def sync_folder(folder: Path) -> None:
    """Have the disk confirm the names in a folder, so that a rename outlives a loss of power. Raises: OSError."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
