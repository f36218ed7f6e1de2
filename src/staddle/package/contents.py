"""The content of one referenced file as a stream, chunks joined and compression undone. Never whole in memory.

Source: DSP0243, references: compression is applied before the split into chunks, so they are joined first.
"""

import bz2
import gzip
import hashlib
import io
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from staddle.kernel import InputRefused
from staddle.package.archive import Archive, open_archive
from staddle.package.model import Package

__all__ = ["open_disk_file"]

_BUFFER_BYTES = 1 << 18


@contextmanager
def open_disk_file(
    path: Path, package: Package, file_id: str, *, pinned: Sequence[str] = ()
) -> Iterator[BinaryIO]:
    """The file as its disk sees it, read-only, from the start to the end.

    The digests are taken from the very bytes that are handed out: what was verified earlier may have been replaced since.

    Args: path: where the package lies; package: as read from it; file_id: one of its files; pinned: SHA-256 of each of
        the file's members in their order, lower-case hex; () where none is known.
    Raises: InputRefused: no such file, or (while reading, at the latest when a stream that was read to its end is closed)
        the content is not the pinned one or its compression is damaged.
    """
    file = package.get_file(file_id)
    archive = open_archive(path)
    if pinned and len(pinned) != len(file.members):
        raise _replaced(file.href, f"it lies in {len(file.members)} parts, {len(pinned)} were pinned")
    joined = io.BufferedReader(_Joined(archive, file.members, pinned), _BUFFER_BYTES)
    try:
        if file.compression == "gzip":
            with gzip.GzipFile(fileobj=joined, mode="rb") as unzipped:
                yield io.BufferedReader(_Undone(unzipped, file.href), _BUFFER_BYTES)
        elif file.compression == "bzip2":
            with bz2.BZ2File(joined, mode="rb") as unzipped:
                yield io.BufferedReader(_Undone(unzipped, file.href), _BUFFER_BYTES)
        else:
            yield joined
        while pinned and joined.read(_BUFFER_BYTES):
            pass  # what a decompressor leaves unread behind its end counts into the digest too
    finally:
        joined.close()


class _Joined(io.RawIOBase):
    """The members one after another; only one is open at a time."""

    def __init__(self, archive: Archive, names: Sequence[str], pinned: Sequence[str]) -> None:
        self._archive, self._names, self._pinned = archive, list(names), list(pinned)
        self._current: BinaryIO | None = None
        self._name, self._digest = "", hashlib.sha256()

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]  # the stubs name a wider type
        while self._current or self._names:
            if self._current is None:
                self._name, self._digest = self._names.pop(0), hashlib.sha256()
                self._current = self._archive.open(self._name)
            data = self._current.read(len(buffer))
            if data:
                self._digest.update(data)
                buffer[: len(data)] = data
                return len(data)
            self._current.close()
            self._current = None
            if self._pinned and (seen := self._digest.hexdigest()) != (wanted := self._pinned.pop(0)):
                raise _replaced(self._name, f"its SHA-256 is {seen}, pinned is {wanted}")
        return 0

    def close(self) -> None:
        if self._current is not None:
            self._current.close()
            self._current = None
        super().close()


class _Undone(io.RawIOBase):
    """A decompressing stream whose own errors are told as faults of the package."""

    def __init__(self, stream: gzip.GzipFile | bz2.BZ2File, href: str) -> None:
        self._stream, self._href = stream, href

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]  # the stubs name a wider type
        try:
            data = self._stream.read(len(buffer))
        except (EOFError, OSError, zlib.error) as exc:
            raise InputRefused.one(
                f'the compressed file "{self._href}" is damaged',
                why=str(exc),
                mend="verify the package's digests and fetch it again",
            ) from exc
        buffer[: len(data)] = data
        return len(data)


def _replaced(name: str, why: str) -> InputRefused:
    return InputRefused.one(
        f'"{name}" is not the file that was verified',
        where=name,
        why=why,
        mend="put the verified package back; for another one, back out and plan anew",
    )
