"""The content of one referenced file as a stream, chunks joined and compression undone. Never whole in memory.

Source: DSP0243, references: compression is applied before the split into chunks, so they are joined first.
"""

import bz2
import gzip
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
def open_disk_file(path: Path, package: Package, file_id: str) -> Iterator[BinaryIO]:
    """The file as its disk sees it, read-only, from the start to the end.

    Args: path: where the package lies; package: as read from it; file_id: one of its files.
    Raises: InputRefused: no such file, or (while reading) the compressed content is damaged.
    """
    file = package.get_file(file_id)
    archive = open_archive(path)
    joined = io.BufferedReader(_Joined(archive, file.members), _BUFFER_BYTES)
    try:
        if file.compression == "gzip":
            with gzip.GzipFile(fileobj=joined, mode="rb") as unzipped:
                yield io.BufferedReader(_Undone(unzipped, file.href), _BUFFER_BYTES)
        elif file.compression == "bzip2":
            with bz2.BZ2File(joined, mode="rb") as unzipped:
                yield io.BufferedReader(_Undone(unzipped, file.href), _BUFFER_BYTES)
        else:
            yield joined
    finally:
        joined.close()


class _Joined(io.RawIOBase):
    """The members one after another; only one is open at a time."""

    def __init__(self, archive: Archive, names: Sequence[str]) -> None:
        self._archive, self._names = archive, list(names)
        self._current: BinaryIO | None = None

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]  # the stubs name a wider type
        while self._current or self._names:
            if self._current is None:
                self._current = self._archive.open(self._names.pop(0))
            data = self._current.read(len(buffer))
            if data:
                buffer[: len(data)] = data
                return len(data)
            self._current.close()
            self._current = None
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
