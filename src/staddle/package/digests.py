"""Digests of a package's members, each byte read once, by several threads, never holding more than a few blocks.

hashlib lets other threads run while it works on a block, so threads use all cores. What the digests are compared with is
manifest.py's work.

Source: FIPS 180-4 by hashlib.
"""

import hashlib
import os
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any, Final

from staddle.kernel import OutsideFailed
from staddle.package.archive import Archive

__all__ = ["Digests", "Progress", "take_digests"]

_BLOCK_BYTES: Final = 1 << 20
_MOST_THREADS: Final = 8  # ours: beyond that a disk, not a core, is what is waited for
_ALWAYS: Final = "SHA256"

Progress = Callable[[int, int], None]
Hashes = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Digests:
    """``package_sha256`` stands for the whole package, ``contents_sha256`` for its files alone.

    ``of`` maps member and algorithm to lower-case hex.
    """

    package_sha256: str
    contents_sha256: str
    of: Mapping[tuple[str, str], str]


def take_digests(
    archive: Archive, wanted: Mapping[str, frozenset[str]], progress: Progress | None = None
) -> Digests:
    """The SHA-256 of every wanted member and its further digests.

    Args: wanted: per member the algorithms beside SHA-256 (SHA1, SHA512); progress: called with bytes done and total, by one
        thread at a time, in growing order.
    Returns: ``contents_sha256`` is the digest of the sorted lines ``<sha256>  <name>`` of the wanted members; for an archive
        ``package_sha256`` is the digest of the file itself, for a folder that of the contents.
    Raises: OutsideFailed: a file cannot be read, or changed its length while it was.
    """
    hashes: Hashes = {
        name: {algorithm: hashlib.new(algorithm.lower()) for algorithm in {_ALWAYS, *algorithms}}
        for name, algorithms in wanted.items()
    }
    tell = progress or (lambda _done, _total: None)
    whole = _feed_archive(archive, hashes, tell) if archive.is_single_file else None
    if whole is None:
        _feed_folder(archive, hashes, tell)
    of = {(name, alg): h.hexdigest() for name, by_alg in hashes.items() for alg, h in by_alg.items()}
    listing = "".join(f"{of[name, _ALWAYS]}  {name}\n" for name in sorted(hashes))
    contents = hashlib.sha256(listing.encode()).hexdigest()
    return Digests(package_sha256=whole or contents, contents_sha256=contents, of=of)


def _feed_archive(archive: Archive, hashes: Hashes, tell: Progress) -> str:
    # One pass over the file serves its own digest and those of all members, which lie in it one after another. The two
    # are computed side by side, while the next block is read into the other buffer.
    spans = sorted(
        (m.offset_bytes, m.offset_bytes + m.size_bytes, name)
        for name, m in archive.members.items()
        if name in hashes and m.size_bytes
    )
    total = archive.path.stat().st_size
    whole = hashlib.sha256()
    first = at = 0
    buffers = [memoryview(bytearray(_BLOCK_BYTES)) for _ in range(2)]
    with archive.path.open("rb", buffering=0) as file, ThreadPoolExecutor(2) as pool:
        block = buffers[0][: file.readinto(buffers[0])]
        turn = 0
        while block:
            parts = []
            for start, end, name in spans[first:]:
                if start >= at + len(block):
                    break
                part = block[max(0, start - at) : end - at]
                parts += [(digest, part) for digest in hashes[name].values()]
            work = [pool.submit(whole.update, block), pool.submit(_update_all, parts)]
            turn = 1 - turn
            ahead = buffers[turn][: file.readinto(buffers[turn])]
            for one in work:
                one.result()
            at += len(block)
            while first < len(spans) and spans[first][1] <= at:
                first += 1
            tell(at, total)
            block = ahead
    if first < len(spans) or at != total:
        raise _changed(str(archive.path))
    return whole.hexdigest()


def _update_all(parts: list[tuple[Any, memoryview]]) -> None:
    for digest, part in parts:
        digest.update(part)


def _feed_folder(archive: Archive, hashes: Hashes, tell: Progress) -> None:
    total = sum(archive.members[name].size_bytes for name in hashes)
    done = 0
    lock, stopped = threading.Lock(), threading.Event()

    def feed(name: str) -> None:
        nonlocal done
        buffer = memoryview(bytearray(min(_BLOCK_BYTES, archive.members[name].size_bytes + 1)))
        read = 0
        with archive.open(name) as stream:
            while not stopped.is_set():
                got: int = stream.readinto(buffer)  # type: ignore[attr-defined]  # a FileIO
                if not got:
                    break
                for digest in hashes[name].values():
                    digest.update(buffer[:got])
                read += got
                with lock:
                    done += got
                    tell(done, total)
        if read != archive.members[name].size_bytes and not stopped.is_set():
            raise _changed(str(archive.path / name))

    # The largest first, so that at the end no thread is left alone with it.
    names = sorted(hashes, key=lambda name: -archive.members[name].size_bytes)
    with ThreadPoolExecutor(min(max(2, os.cpu_count() or 1), _MOST_THREADS)) as pool:
        work = [pool.submit(feed, name) for name in names]
        try:
            for one in wait(work, return_when=FIRST_EXCEPTION).done:
                one.result()
        finally:
            # After a failure or Ctrl-C the others must not first read gigabytes to their end.
            stopped.set()
            pool.shutdown(cancel_futures=True)


def _changed(where: str) -> OutsideFailed:
    return OutsideFailed.one(
        "the package changed its length while it was read",
        where=where,
        mend="do not write to the package while it is in use; fetch it again and repeat",
    )
