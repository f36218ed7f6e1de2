"""A package a member, filled in: the maker's files as they are, a descriptor and a manifest of our own around them.

What the descriptor says is filling.py's, how a folder appears whole or not at all staging.py's, signing signing.py's work.
Disks are linked where the file system can, and streamed otherwise; their digests are taken again from the very bytes that
are streamed.

Source: DSP0243: the order of an archive (descriptor, manifest, certificate, files in the order of References), manifest file.
"""

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO, Any, Final, Literal

from staddle.kernel import InputRefused, NotAllowed, OurFault, OutsideFailed
from staddle.package.archive import Archive, open_archive
from staddle.package.descriptor import read_descriptor, read_package
from staddle.package.filling import Filling, fill_descriptor
from staddle.package.likeness import unlike
from staddle.package.manifest import Verification, verify_package
from staddle.package.manifesttext import ManifestLine, write_manifest
from staddle.package.markup import MOST_BYTES
from staddle.package.members import Member
from staddle.package.model import Package
from staddle.package.signer import OriginCheck
from staddle.package.signing import ManifestSigner
from staddle.package.staging import staged, sync_folder
from staddle.package.tarwriting import END, MOST_USTAR_BYTES, padding, tar_header

__all__ = ["BundleOrder", "Bundled", "BundledMember", "Form", "write_bundle"]

Form = Literal["folder", "ova"]
Progress = Callable[[int, int], None]

_BLOCK_BYTES: Final = 1 << 20
_SPARE_BYTES: Final = 16 << 20  # descriptors, manifests, headers, the file system's own


@dataclass(frozen=True, slots=True, kw_only=True)
class BundleOrder:
    """One package to write; ``stem`` names it, its descriptor and its manifest."""

    stem: str
    filling: Filling


@dataclass(frozen=True, slots=True, kw_only=True)
class BundledMember:
    """A package that was written. ``path`` is seen from the bundle's folder; its digests are as of a Verification."""

    stem: str
    path: str
    package_sha256: str
    contents_sha256: str
    linked_bytes: int
    written_bytes: int
    over_ustar: tuple[str, ...]  # members of an archive that are larger than ustar can say


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundled:
    """What was written, and the package it was made from, as verified right before."""

    original: Verification
    members: tuple[BundledMember, ...]


def write_bundle(
    path: Path,
    orders: Sequence[BundleOrder],
    out: Path,
    *,
    form: Form,
    made_at: datetime,
    origin: OriginCheck,
    pinned: str = "",
    signer: ManifestSigner | None = None,
    private: bool = False,
    beside: Callable[[Bundled], Mapping[str, str]] = lambda _: {},
    reading: Progress | None = None,
    writing: Progress | None = None,
) -> Bundled:
    """Write a package for each order into the folder ``out``, all of them or nothing.

    Args: path: the maker's package, which is verified first; out: not there yet, or empty; pinned: its digest, "" for any;
        private: for the owner only; beside: further texts by name, made when the rest is known; reading, writing: called
        with bytes done and bytes in all.
    Raises: InputRefused: the package is not sound, something lies at ``out``, or an answer cannot be written. NotAllowed: not
        the pinned package, or another run is writing there. OutsideFailed: no room, no rights, or the package was replaced
        meanwhile. Nothing is left at ``out`` then.
    """
    with staged(out, mode=0o700 if private else 0o755) as stage:
        archive = open_archive(path)
        stamps = _stamps(archive)
        verified = verify_package(path, origin=origin, progress=reading)
        if pinned and not verified.answers_to(pinned):
            raise NotAllowed.one(
                "the package is not the one that the design pins",
                where=str(path),
                why=f"its SHA-256 is {verified.package_sha256}, that of its contents {verified.contents_sha256}",
                mend="use the pinned package, or pin this one after finding out why it differs",
            )
        # All members are of one machine; of another one in the package nothing is filled in.
        package = read_descriptor(archive, machine=orders[0].filling.system_id if orders else "")
        work = _Writing(
            archive=archive,
            package=package,
            digests=dict(verified.file_sha256),
            stamps=stamps,
            stage=stage,
            made_at=made_at,
            signer=signer,
            mode=0o600 if private else 0o644,
            tell=writing or (lambda _done, _total: None),
        )
        bundled = Bundled(original=verified, members=work.all(orders, form))
        for name, text in beside(bundled).items():
            with work.new(stage / name) as file:
                file.write(text.encode())
        sync_folder(stage)
    return bundled


def _stamps(archive: Archive) -> dict[str, tuple[int, ...]]:
    """What tells whether a file of a folder is still the one that was verified."""
    if archive.is_single_file:
        return {}
    return {name: _stamp(archive.path / name) for name in archive.members}


def _stamp(path: Path) -> tuple[int, ...]:
    facts = path.stat(follow_symlinks=False)
    return facts.st_dev, facts.st_ino, facts.st_size, facts.st_mtime_ns


@dataclass(kw_only=True)
class _Writing:
    """One run: where from, where to, and how much is done."""

    archive: Archive
    package: Package
    digests: Mapping[str, str]
    stamps: Mapping[str, tuple[int, ...]]
    stage: Path
    made_at: datetime
    signer: ManifestSigner | None
    mode: int
    tell: Progress
    done: int = 0
    total: int = 0

    def all(self, orders: Sequence[BundleOrder], form: Form) -> tuple[BundledMember, ...]:
        names = tuple(dict.fromkeys(name for file in self.package.files for name in file.members))
        whole = sum(self.archive.members[name].size_bytes for name in names)
        linked = form == "folder" and not self.archive.is_single_file and self._can_link(names)
        self.total = whole * len(orders) if form == "ova" else 0 if linked else whole
        self._need_room()
        return tuple(self._one(order, names, form) for order in orders)

    def _can_link(self, names: Sequence[str]) -> bool:
        return all(os.stat(self.archive.path / name).st_dev == os.stat(self.stage).st_dev for name in names)

    def _need_room(self) -> None:
        free = shutil.disk_usage(self.stage).free
        if free < self.total + _SPARE_BYTES:
            raise OutsideFailed.one(
                f"{self.total} bytes are to be written, and {free} are free",
                where=str(self.stage.parent),
                mend="make room, or name a folder on another disk",
            )

    def _one(self, order: BundleOrder, names: Sequence[str], form: Form) -> BundledMember:
        heads = self._heads(order, names)
        for name in names:
            if name in heads:
                raise InputRefused.one(
                    f'the package has a file "{name}", and the member\'s own would be called so too',
                    where=str(self.archive.path),
                    mend="give the member another name",
                )
        listing = {name: hashlib.sha256(content).hexdigest() for name, content in heads.items()}
        listing |= {name: self.digests[name] for name in names}
        contents = hashlib.sha256("".join(f"{listing[name]}  {name}\n" for name in sorted(listing)).encode())
        before = self.done
        over: tuple[str, ...] = ()
        if form == "ova":
            written = self.stage / f"{order.stem}.ova"
            digest = self._write_ova(written, heads, names)
            over = tuple(n for n in names if self.archive.members[n].size_bytes > MOST_USTAR_BYTES)
        else:
            written, digest = self.stage / order.stem, contents.hexdigest()
            self._write_folder(written, heads, names)
        self._read_back(written, order.filling)
        wrote = self.done - before
        return BundledMember(
            stem=order.stem,
            path=written.name,
            package_sha256=digest,
            contents_sha256=contents.hexdigest(),
            linked_bytes=sum(self.archive.members[name].size_bytes for name in names) - wrote,
            written_bytes=wrote,
            over_ustar=over,
        )

    def _heads(self, order: BundleOrder, names: Sequence[str]) -> dict[str, bytes]:
        """Descriptor, manifest and certificate file, by name, in the order of an archive."""
        source = self.archive.read(self.archive.descriptor_name, most_bytes=MOST_BYTES)
        if hashlib.sha256(source).hexdigest() != self.digests[self.archive.descriptor_name]:
            raise _replaced(self.archive, self.archive.descriptor_name)
        descriptor = fill_descriptor(source, order.filling, where=self.archive.descriptor_name)
        digests = {f"{order.stem}.ovf": hashlib.sha256(descriptor).hexdigest()}
        digests |= {name: self.digests[name] for name in names}
        manifest = write_manifest(
            ManifestLine(algorithm="SHA256", name=name, digest=digest) for name, digest in digests.items()
        )
        heads = {f"{order.stem}.ovf": descriptor, f"{order.stem}.mf": manifest}
        if self.signer is not None:
            heads[f"{order.stem}.cert"] = self.signer.certificate_file(manifest, f"{order.stem}.mf")
        return heads

    def _write_ova(self, path: Path, heads: Mapping[str, bytes], names: Sequence[str]) -> str:
        digest = hashlib.sha256()
        with self.new(path) as file:

            def put(block: bytes | memoryview) -> None:
                digest.update(block)
                file.write(block)

            for name, content in heads.items():
                put(self._header(name, len(content)) + content + padding(len(content)))
            for name in names:
                size = self.archive.members[name].size_bytes
                put(self._header(name, size))
                for block in self._blocks(name):
                    put(block)
                put(padding(size))
            put(END)
        return digest.hexdigest()

    def _header(self, name: str, size_bytes: int) -> bytes:
        return tar_header(name, size_bytes, made_at=self.made_at, mode=self.mode)

    def _write_folder(self, path: Path, heads: Mapping[str, bytes], names: Sequence[str]) -> None:
        path.mkdir(mode=0o700 if self.mode == 0o600 else 0o755)
        for name, content in heads.items():
            with self.new(path / name) as file:
                file.write(content)
        for name in names:
            (path / name).parent.mkdir(parents=True, exist_ok=True)
            if self._link(name, path / name):
                continue
            with self.new(path / name) as file:
                for block in self._blocks(name):
                    file.write(block)
        sync_folder(path)

    def _link(self, name: str, target: Path) -> bool:
        """One more name for a file that is there: the maker's own, or the one that an earlier member was given."""
        own = not self.archive.is_single_file
        for source in (*((self.archive.path / name,) if own else ()), *self._earlier(name, target)):
            try:
                os.link(source, target, follow_symlinks=False)
            except OSError:  # another disk, a file system without links, or too many of them: it is streamed
                continue
            if source.parent != self.archive.path or not own or _stamp(target) == self.stamps[name]:
                return True
            raise _replaced(self.archive, name)
        return False

    def _earlier(self, name: str, target: Path) -> Iterator[Path]:
        for folder in sorted(self.stage.iterdir()):
            if folder.is_dir() and (folder / name).is_file() and folder / name != target:
                yield folder / name

    def _blocks(self, name: str) -> Iterator[memoryview]:
        """The member's bytes as they are, compared with what was verified when they end."""
        digest = hashlib.sha256()
        buffer = memoryview(bytearray(_BLOCK_BYTES))
        member: Member = self.archive.members[name]
        with self.archive.open(name) as stream:
            while got := stream.readinto(buffer):  # type: ignore[attr-defined]  # a FileIO or a BufferedReader
                digest.update(buffer[:got])
                yield buffer[:got]
                self.done += got
                self.tell(self.done, max(self.total, self.done))
        if digest.hexdigest() != self.digests[name]:
            raise _replaced(self.archive, member.name)

    def new(self, path: Path) -> "_NewFile":
        """A new file that is on the disk when it is closed."""
        return _NewFile(path, self.mode)

    def _read_back(self, path: Path, filling: Filling) -> None:
        different = unlike(self.package, read_package(path, machine=filling.system_id), filling)
        if different:
            raise OurFault.one(
                "the package that was written does not read back as it was meant",
                where=str(path),
                why="different: " + ", ".join(different),
                mend="report it; nothing was left behind",
            )


class _NewFile:
    """A context manager: a file of that mode that must not be there yet, flushed to the disk at its end."""

    def __init__(self, path: Path, mode: int) -> None:
        self._file: IO[Any] = os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb")

    def __enter__(self) -> IO[Any]:
        return self._file

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        with self._file:
            if kind is None:
                self._file.flush()
                os.fsync(self._file.fileno())


def _replaced(archive: Archive, name: str) -> OutsideFailed:
    return OutsideFailed.one(
        f'the file "{name}" was replaced while the packages were written',
        where=str(archive.path),
        why="it is no longer the one that was verified right before",
        mend="let nobody write to the package, then run again; nothing half-written was left",
    )
