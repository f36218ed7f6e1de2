"""A package's files through one interface, whether they lie in an OVA (tar) or in a folder. Nothing is unpacked.

Opening lists the members and refuses hostile ones before any content is read. What the descriptor says about
the members is references.py's work, digests are manifest.py's.

Source: DSP0243, distribution as a single file; IEEE Std 1003.1, ustar and pax interchange formats.
"""

import io
import os
from abc import ABC, abstractmethod
from collections.abc import Mapping
from pathlib import Path
from typing import BinaryIO, Final

from staddle.kernel import Finding, InputRefused, OutsideFailed
from staddle.package.members import Member, name_fault, set_faults
from staddle.package.tarheaders import list_tar

__all__ = ["Archive", "FolderArchive", "TarArchive", "open_archive"]

MOST_MEMBERS: Final = 10_000  # ours: a package has tens of files; a listing without end is an attack


class Archive(ABC):
    """The files of one package.

    ``members`` maps each name to its member, in the order of the archive (by name in a folder). Links are never
    members.
    """

    def __init__(
        self,
        path: Path,
        members: Mapping[str, Member],
        descriptor_name: str,
        findings: tuple[Finding, ...] = (),
    ) -> None:
        self.path: Final = path
        self.members: Final = members
        self.descriptor_name: Final = descriptor_name
        self.findings: Final = findings

    @property
    @abstractmethod
    def is_single_file(self) -> bool:
        """Whether the package is one archive, where every reference must be relative."""

    @abstractmethod
    def open(self, name: str) -> BinaryIO:
        """The member as a stream that cannot leave it. Raises: OutsideFailed: it cannot be opened."""

    @property
    def stem(self) -> str:
        """The descriptor's name without its suffix: manifest and certificate share it."""
        return self.descriptor_name[: -len(".ovf")]

    def read(self, name: str, *, most_bytes: int) -> bytes:
        """A small member whole. Raises: InputRefused: it is larger than ``most_bytes``."""
        size = self.members[name].size_bytes
        if size > most_bytes:
            raise InputRefused.one(
                f'"{name}" has {size} bytes; at most {most_bytes} are read',
                where=str(self.path),
                why="a descriptor or manifest of that size would be an attempt to exhaust the reader",
                mend="do not use this package; ask its maker for a sound one",
            )
        with self.open(name) as stream:
            return stream.read()


class TarArchive(Archive):
    """An OVA."""

    @property
    def is_single_file(self) -> bool:
        return True

    def open(self, name: str) -> BinaryIO:
        member = self.members[name]
        return io.BufferedReader(_Span(_open_file(self.path), member.offset_bytes, member.size_bytes))


class FolderArchive(Archive):
    """A folder with an .ovf file."""

    @property
    def is_single_file(self) -> bool:
        return False

    def open(self, name: str) -> BinaryIO:
        return _open_file(self.path / name)


class _Span(io.RawIOBase):
    """A stretch of a file, read-only; closing it closes the file."""

    def __init__(self, file: BinaryIO, offset: int, size: int) -> None:
        self._file, self._offset, self._size, self._at = file, offset, size, 0

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        base = {os.SEEK_SET: 0, os.SEEK_CUR: self._at, os.SEEK_END: self._size}[whence]
        self._at = max(0, base + offset)
        return self._at

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]  # the stubs name a wider type
        want = min(len(buffer), max(0, self._size - self._at))
        if not want:
            return 0
        self._file.seek(self._offset + self._at)
        got = self._file.readinto(memoryview(buffer)[:want])  # type: ignore[attr-defined]  # a FileIO
        if not got:
            raise OutsideFailed.one(
                "the archive became shorter while it was read",
                where=getattr(self._file, "name", ""),
                mend="do not write to the package while it is in use; fetch it again and repeat",
            )
        self._at += got
        return int(got)

    def close(self) -> None:
        if not self.closed:
            self._file.close()
        super().close()


def _open_file(path: Path) -> BinaryIO:
    try:
        return path.open("rb", buffering=0)  # FileIO reads as BinaryIO does
    except OSError as exc:
        raise _cannot_open(path, exc) from exc


def _cannot_open(path: Path, exc: OSError) -> OutsideFailed:
    return OutsideFailed.one(
        f"the package cannot be opened: {exc.strerror}",
        where=str(path),
        mend="check the path and its rights",
    )


def open_archive(path: Path) -> Archive:
    """The package at this path: an OVA, an .ovf file, or a folder with exactly one .ovf file at its top.

    Returns: an archive that holds no open file; each ``open`` makes its own.
    Raises: InputRefused: hostile or broken, with every fault. OutsideFailed: not there or not readable.
    """
    if path.is_dir():
        return _open_folder(path, descriptor_name=None)
    if path.suffix.lower() == ".ovf" and path.is_file():
        return _open_folder(path.parent, descriptor_name=path.name)
    try:
        with path.open("rb") as file:
            members, faults, findings = list_tar(file, where=str(path), most_members=MOST_MEMBERS)
    except OSError as exc:
        raise _cannot_open(path, exc) from exc
    names = [member.name for member in members]
    faults += tuple(fault for name in names if (fault := name_fault(name, where=str(path))))
    if members or not faults:
        faults += set_faults(names, where=str(path))
    if faults:
        raise InputRefused(*faults)
    descriptor = next(name for name in names if name.lower().endswith(".ovf"))
    return TarArchive(path, {member.name: member for member in members}, descriptor, findings)


def _open_folder(folder: Path, *, descriptor_name: str | None) -> FolderArchive:
    members: dict[str, Member] = {}
    # Links are not followed and not listed: a reference to one is then refused as missing.
    for base, folders, files in os.walk(folder, followlinks=False):
        folders.sort()
        for file_name in sorted(files):
            file = Path(base, file_name)
            if file.is_symlink() or not file.is_file():
                continue
            name = file.relative_to(folder).as_posix()
            members[name] = Member(name=name, size_bytes=file.stat().st_size)
        if len(members) > MOST_MEMBERS:
            raise InputRefused.one(
                f"the folder holds more than {MOST_MEMBERS} files",
                where=str(folder),
                why="nothing tells which of them belong to the package",
                mend="put the package into a folder of its own",
            )
    if descriptor_name is None:
        top = [name for name in members if "/" not in name]
        faults = [f for f in set_faults(top, where=str(folder)) if "descriptor" in f.what]
        if faults:
            raise InputRefused(*faults)
        descriptor_name = next(name for name in top if name.lower().endswith(".ovf"))
    return FolderArchive(folder, members, descriptor_name)
