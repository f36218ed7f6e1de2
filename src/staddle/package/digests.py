"""Digests of a package's members, taken in one pass and never holding more than a block.

What the digests are compared with is manifest.py's work.

Source: FIPS 180-4 by hashlib.
"""

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from staddle.kernel import OutsideFailed
from staddle.package.archive import Archive

__all__ = ["Digests", "Progress", "take_digests"]

_BLOCK_BYTES: Final = 1 << 20
_ALWAYS: Final = "SHA256"

Progress = Callable[[int, int], None]
Hashes = Mapping[str, Mapping[str, Any]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Digests:
    """``package_sha256`` stands for the whole package; ``of`` maps member and algorithm to lower-case hex."""

    package_sha256: str
    of: Mapping[tuple[str, str], str]


def take_digests(
    archive: Archive, wanted: Mapping[str, frozenset[str]], progress: Progress | None = None
) -> Digests:
    """The SHA-256 of every wanted member and its further digests.

    Args: wanted: per member the algorithms beside SHA-256 (SHA1, SHA512); progress: called with bytes done and total.
    Returns: for an archive ``package_sha256`` is the digest of the file itself, for a folder that of the sorted lines
        ``<sha256>  <name>`` of the wanted members.
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
    if whole is None:
        listing = "".join(f"{of[name, _ALWAYS]}  {name}\n" for name in sorted(hashes))
        whole = hashlib.sha256(listing.encode()).hexdigest()
    return Digests(package_sha256=whole, of=of)


def _feed_archive(archive: Archive, hashes: Hashes, tell: Progress) -> str:
    # One pass over the file serves its own digest and those of all members, which lie in it one after another.
    spans = sorted(
        (m.offset_bytes, m.offset_bytes + m.size_bytes, name)
        for name, m in archive.members.items()
        if name in hashes and m.size_bytes
    )
    total = archive.path.stat().st_size
    whole = hashlib.sha256()
    first = at = 0
    with archive.path.open("rb") as file:
        while block := file.read(_BLOCK_BYTES):
            whole.update(block)
            view = memoryview(block)
            for start, end, name in spans[first:]:
                if start >= at + len(block):
                    break
                part = view[max(0, start - at) : end - at]
                for digest in hashes[name].values():
                    digest.update(part)
            at += len(block)
            while first < len(spans) and spans[first][1] <= at:
                first += 1
            tell(at, total)
    if first < len(spans):
        raise OutsideFailed.one(
            "the archive became shorter while it was read",
            where=str(archive.path),
            mend="do not write to the package while it is in use; fetch it again and repeat",
        )
    return whole.hexdigest()


def _feed_folder(archive: Archive, hashes: Hashes, tell: Progress) -> None:
    total = sum(archive.members[name].size_bytes for name in hashes)
    done = 0
    for name, by_algorithm in hashes.items():
        with archive.open(name) as stream:
            while block := stream.read(_BLOCK_BYTES):
                for digest in by_algorithm.values():
                    digest.update(block)
                done += len(block)
                tell(done, total)
