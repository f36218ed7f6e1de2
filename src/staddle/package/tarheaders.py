"""The headers of a tar archive, read without trusting them. Contents are not read here.

tarfile does the parsing of ustar, pax and base-256 sizes; around it stand a guard against headers that make it read
without end, and the refusal of everything that is not a plain file.

Source: IEEE Std 1003.1, ustar and pax interchange formats; DSP0243, distribution as a single file.
"""

import tarfile
from typing import BinaryIO, Final

from staddle.kernel import Fault, Finding, Severity
from staddle.package.members import Member

__all__ = ["list_tar"]

_BLOCK: Final = 512
_MOST_HEADER_BYTES: Final = 1 << 20  # ours: a pax header holds a name and a size, never a mebibyte
_ASK_MAKER: Final = "do not use this package; ask its maker for a sound one"
_WRAPPERS: Final = {
    b"\x1f\x8b": "gzip",
    b"BZh": "bzip2",
    b"\xfd7zXZ\x00": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
    b"PK\x03\x04": "zip",
}
_KINDS: Final = {
    tarfile.SYMTYPE: "a symbolic link",
    tarfile.LNKTYPE: "a hard link",
    tarfile.CHRTYPE: "a character device",
    tarfile.BLKTYPE: "a block device",
    tarfile.FIFOTYPE: "a named pipe",
}

Listing = tuple[tuple[Member, ...], tuple[Fault, ...], tuple[Finding, ...]]


class _HeaderTooLarge(Exception):
    pass


class _Guard:
    """A file whose single reads are bounded, so that a header cannot name a size that fills the memory."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file

    def read(self, size: int) -> bytes:
        if not 0 <= size <= _MOST_HEADER_BYTES:
            raise _HeaderTooLarge
        return self._file.read(size)

    def seek(self, offset: int) -> int:
        return self._file.seek(offset)

    def tell(self) -> int:
        return self._file.tell()


def list_tar(file: BinaryIO, *, where: str, most_members: int) -> Listing:
    """The plain files of the archive, and everything that is wrong with its headers. Names are not judged here.

    Returns: members in order, faults, findings. A member that is refused stands in the faults only.
    """
    magic = file.read(8)
    size = file.seek(0, 2)
    file.seek(0)
    for prefix, wrapper in _WRAPPERS.items():
        if magic.startswith(prefix):
            return (), (_wrapped(wrapper, where),), ()
    members: list[Member] = []
    faults: list[Fault] = []
    findings: dict[Finding, None] = {}
    end = 0
    try:
        # The guard has all of a file that tarfile uses to read headers.
        with tarfile.open(fileobj=_Guard(file), mode="r:", encoding="utf-8") as tar:  # type: ignore[call-overload]
            for count, info in enumerate(tar):
                if count >= most_members:
                    faults.append(_broken(f"it has more than {most_members} members", where))
                    break
                if info.size < 0 or info.offset_data <= info.offset or info.offset < end:
                    faults.append(_broken(f'the header of "{info.name}" has an impossible size', where))
                    break
                end = info.offset_data + (info.size + _BLOCK - 1) // _BLOCK * _BLOCK
                fault = _kind_fault(info, where)
                if fault:
                    faults.append(fault)
                elif info.isdir():
                    findings[_departure("archive-folder", f'the archive holds the folder "{info.name}"')] = (
                        None
                    )
                else:
                    name = info.name
                    if name.startswith("./"):
                        findings[_departure("archive-dot-names", 'member names begin with "./"')] = None
                        name = name.removeprefix("./")
                    members.append(Member(name=name, size_bytes=info.size, offset_bytes=info.offset_data))
    except _HeaderTooLarge:
        faults.append(_broken("one of its headers is larger than a header can be", where))
    except (tarfile.TarError, ValueError, ArithmeticError, LookupError, EOFError) as exc:
        faults.append(_broken(f"it is not a sound tar archive: {exc}", where))
    if not faults:
        fault, finding = _judge_end(file, end, size, where)
        faults += [fault] if fault else []
        findings |= {finding: None} if finding else {}
    return tuple(members), tuple(faults), tuple(findings)


def _kind_fault(info: tarfile.TarInfo, where: str) -> Fault | None:
    if info.issparse():
        kind = "a sparse file"
    elif info.isdir() or info.type in (tarfile.REGTYPE, tarfile.AREGTYPE):
        return None
    else:
        kind = _KINDS.get(info.type, "of an unknown kind")
    return Fault(
        what=f'the member "{info.name}" is {kind}',
        where=where,
        why="a package holds plain files only; others can point out of it or hide what they hold",
        mend=_ASK_MAKER,
    )


def _judge_end(file: BinaryIO, end: int, size: int, where: str) -> tuple[Fault | None, Finding | None]:
    # tarfile stops without a word at a damaged header; two zero blocks are the only proper end (IEEE 1003.1).
    if end > size:
        return _broken("it breaks off inside its last member", where), None
    file.seek(end)
    tail = file.read(2 * _BLOCK)
    if tail.strip(b"\0"):
        return _broken(f"the header at byte {end} is damaged; what follows cannot be read", where), None
    if len(tail) < 2 * _BLOCK:
        return None, _departure("archive-end", "the archive lacks the two zero blocks at its end")
    return None, None


def _wrapped(wrapper: str, where: str) -> Fault:
    return Fault(
        what=f"the archive is wrapped in {wrapper}; an OVA is a plain tar",
        where=where,
        why="DSP0243 compresses single files of a package, never the whole",
        mend=f"unwrap the {wrapper} layer first, then name the tar inside it",
    )


def _broken(why: str, where: str) -> Fault:
    return Fault(
        what="the archive cannot be read",
        where=where,
        why=why,
        mend="compare its size with the maker's and fetch it again",
    )


def _departure(rule: str, what: str) -> Finding:
    return Finding(
        rule=rule,
        severity=Severity.NOTE,
        what=what,
        why="another importer may refuse it",
        source="DSP0243, distribution as a single file",
    )
