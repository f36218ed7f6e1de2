"""The listing of a tar archive, read without trusting it. Contents are not read here.

The blocks are followed in tarblocks.py; here everything is refused that is not a plain file, and the archive's end is
judged.

Source: IEEE Std 1003.1, ustar and pax interchange formats; DSP0243, distribution as a single file.
"""

from typing import BinaryIO, Final

from staddle.kernel import Fault, Finding, Severity
from staddle.package.members import Member, printable
from staddle.package.tarblocks import BLOCK, Header, NotTar, read_headers

__all__ = ["list_tar"]

_MOST_FAULTS: Final = 100  # ours: whoever reads the first hundred knows enough
_MOST_FINDINGS: Final = 100
_ASK_MAKER: Final = "do not use this package; ask its maker for a sound one"
_WRAPPERS: Final = {
    b"\x1f\x8b": "gzip",
    b"BZh": "bzip2",
    b"\xfd7zXZ\x00": "xz",
    b"\x28\xb5\x2f\xfd": "zstd",
    b"PK\x03\x04": "zip",
}
_KINDS: Final = {
    b"2": "a symbolic link",
    b"1": "a hard link",
    b"3": "a character device",
    b"4": "a block device",
    b"6": "a named pipe",
}

Listing = tuple[tuple[Member, ...], tuple[Fault, ...], tuple[Finding, ...]]


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
        for count, header in enumerate(read_headers(file)):
            if count >= most_members:
                faults.append(_broken(f"it has more than {most_members} members", where))
                break
            end = header.end
            if fault := _kind_fault(header, where):
                faults.append(fault)
                if header.kind == b"S":
                    break  # the map of its holes lies between header and content; nothing behind it is needed
            elif header.is_folder:
                what = f'the archive holds the folder "{printable(header.name)}"'
                if len(findings) < _MOST_FINDINGS:
                    findings[_departure("archive-folder", what)] = None
            else:
                name = header.name
                if name.startswith("./"):
                    findings[_departure("archive-dot-names", 'member names begin with "./"')] = None
                    name = name.removeprefix("./")
                members.append(Member(name=name, size_bytes=header.size, offset_bytes=header.offset))
            if len(faults) >= _MOST_FAULTS:
                break
    except NotTar as exc:
        faults.append(_broken(str(exc), where))
    if not faults:
        fault, finding = _judge_end(file, end, size, where)
        faults += [fault] if fault else []
        findings |= {finding: None} if finding else {}
    return tuple(members), tuple(faults), tuple(findings)


def _kind_fault(header: Header, where: str) -> Fault | None:
    name = printable(header.name)
    if len(set(header.names)) > 1:
        return Fault(
            what=f'the member "{name}" has a second name in another header: "{printable(header.names[1])}"',
            where=where,
            why="two readers may each see another one of them",
            mend=_ASK_MAKER,
        )
    if header.sparse:
        kind = "a sparse file"
    elif header.is_folder or header.kind in (b"0", b"\0"):
        return None
    else:
        kind = _KINDS.get(header.kind, "of an unknown kind")
    return Fault(
        what=f'the member "{name}" is {kind}',
        where=where,
        why="a package holds plain files only; others can point out of it or hide what they hold",
        mend=_ASK_MAKER,
    )


def _judge_end(file: BinaryIO, end: int, size: int, where: str) -> tuple[Fault | None, Finding | None]:
    # tarfile stops without a word at a damaged header; two zero blocks are the only proper end (IEEE 1003.1).
    if end > size:
        return _broken("it breaks off inside its last member", where), None
    file.seek(end)
    tail = file.read(2 * BLOCK)
    if tail.strip(b"\0"):
        return _broken(f"the header at byte {end} is damaged; what follows cannot be read", where), None
    if len(tail) < 2 * BLOCK:
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
