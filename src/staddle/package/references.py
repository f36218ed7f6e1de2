"""The References of a descriptor: which members each file consists of, and which hrefs are refused.

Source: DSP0243, references and single-file distribution (hrefs relative, no "..", chunks ``<href>.000000000`` of
equal size but the last); DSP8023, File.
"""

import re
import unicodedata
from urllib.parse import unquote

from staddle.kernel import Severity
from staddle.package.archive import Archive
from staddle.package.markup import Element
from staddle.package.members import name_fault
from staddle.package.model import PackageFile
from staddle.package.reading import Reading

__all__ = ["COMPRESSIONS", "read_references"]

COMPRESSIONS = ("", "gzip", "bzip2")
_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]+:")
_CHUNK_DIGITS = 9
_CHUNK = re.compile(rf"(?P<name>.*)\.[0-9]{{{_CHUNK_DIGITS}}}", re.DOTALL)
_SOURCE = "DSP0243, references"


class _Names:
    """The members of a package, found by name, by normal form, and as chunks; each is looked through once."""

    def __init__(self, archive: Archive) -> None:
        self.members = archive.members
        self._forms: dict[str, str] = {}
        self._chunks: dict[str, list[str]] = {}
        for member in archive.members.values():
            self._forms.setdefault(unicodedata.normalize("NFC", member.name), member.name)
            if match := _CHUNK.fullmatch(member.name):
                self._chunks.setdefault(match["name"], []).append(member.name)

    def alike(self, name: str) -> str:
        """The member that is written alike but for its Unicode normal form; "" if there is none."""
        return self._forms.get(unicodedata.normalize("NFC", name), "")

    def chunks(self, name: str) -> tuple[tuple[str, ...], str]:
        """The chunks of a file up to the first gap, and the first one behind the gap or ""."""
        found = sorted(self._chunks.get(name, ()))
        for number, member in enumerate(found):
            if int(member[-_CHUNK_DIGITS:]) != number:
                return tuple(found[:number]), member
        return tuple(found), ""


def read_references(reading: Reading, envelope: Element, archive: Archive) -> dict[str, PackageFile]:
    """The files by id, in order. Faults go to the reading; a faulty file is left out."""
    files: dict[str, PackageFile] = {}
    names = _Names(archive)
    hrefs: dict[str, str] = {}
    for references in reading.children(envelope, "References"):
        for element in reading.children(references, "File"):
            file_id = reading.needed(element, "id")
            href = reading.needed(element, "href")
            if file_id in files:
                reading.fault(f'the file id "{file_id}" stands twice', at=element)
            if href and href in hrefs:
                reading.finding(
                    "href-twice",
                    Severity.NOTE,
                    f'the files "{hrefs[href]}" and "{file_id}" are the same "{href}"',
                    at=element,
                    source=_SOURCE,
                )
            if file_id and href and (file := _read_file(reading, element, names, file_id, href)):
                files[file_id] = file
                hrefs[href] = file_id
    return files


def _read_file(
    reading: Reading,
    element: Element,
    names: _Names,
    file_id: str,
    href: str,
) -> PackageFile | None:
    stated = reading.whole(element, "size", most=2**64 - 1)
    chunk_size = reading.whole(element, "chunkSize")
    compression = (reading.attribute(element, "compression") or "").strip().lower()
    if compression == "identity":
        compression = ""
    if compression not in COMPRESSIONS:
        reading.fault(
            f'the file "{file_id}" is compressed with "{compression}"',
            at=element,
            why="gzip and bzip2 are the methods that can be read",
        )
        return None
    name = _member_name(reading, element, names, href, chunked=bool(chunk_size))
    if name is None:
        return None
    members, beyond = names.chunks(name) if chunk_size else ((names.members[name].name,), "")
    reading.spend(len(members), at=element)
    size = sum(names.members[member].size_bytes for member in members)
    faulty = False
    if stated is not None and stated != size:
        reading.fault(
            f'the file "{href}" has {size} bytes, its ovf:size says {stated}',
            at=element,
            why="the file is not the one that was described",
            mend="fetch the package again; if the size stays, ask its maker for a corrected one",
        )
        faulty = True
    if beyond:
        reading.fault(
            f'the chunk "{name}.{len(members):09d}" is not there, and "{beyond}" is',
            at=element,
            why="chunks are numbered without a gap",
            mend="fetch the package again; a chunk is missing",
        )
        faulty = True
    if chunk_size and (wrong := _uneven(names, members, chunk_size)):
        reading.fault(
            f'the chunk "{wrong}" has {names.members[wrong].size_bytes} bytes',
            at=element,
            why=f"ovf:chunkSize is {chunk_size}: every chunk but the last has that size, the last at most that",
            mend="fetch the package again; a chunk is incomplete or missing",
        )
        faulty = True
    if faulty:
        return None
    return PackageFile(
        file_id=file_id,
        href=href,
        size_bytes=size,
        compression=compression,
        chunk_size_bytes=chunk_size or None,
        members=members,
    )


def _member_name(
    reading: Reading,
    element: Element,
    names: _Names,
    href: str,
    *,
    chunked: bool,
) -> str | None:
    if _SCHEME.match(href) or href.startswith("//"):
        reading.fault(
            f'the reference "{href}" is not relative',
            at=element,
            why="it would be fetched from elsewhere; this program reads what lies in the package only",
            mend="put the file beside the descriptor and ask the maker for a package that is complete in itself",
        )
        return None
    decoded = unquote(href)
    fault = name_fault(decoded, where=reading.place(element)) or name_fault(
        href, where=reading.place(element)
    )
    if fault:
        reading.fault(
            f'the reference "{href}" leads out of the package', at=element, why=fault.why, mend=fault.mend
        )
        return None
    suffix = ".000000000" if chunked else ""
    for rule, name in _candidates(names, href, decoded, suffix):
        if name + suffix in names.members:
            if rule:
                reading.finding(
                    rule,
                    Severity.NOTE,
                    f'the reference "{href}" is read as the file "{name}"',
                    at=element,
                    why="the two are not written alike; another importer may not find the file",
                    source=_SOURCE,
                )
            return name
    what = f'the first chunk "{decoded}{suffix}"' if chunked else f'the file "{decoded}"'
    reading.fault(
        f"{what} is not there",
        at=element,
        why=f'the descriptor refers to it as "{href}"; links are not followed',
        mend="put all files of the package side by side, or fetch it again",
    )
    return None


def _candidates(names: _Names, href: str, decoded: str, suffix: str) -> tuple[tuple[str, str], ...]:
    return (
        ("", decoded.removeprefix("./")),
        ("href-not-encoded", href),
        ("href-normal-form", names.alike(decoded + suffix).removesuffix(suffix)),
    )


def _uneven(names: _Names, members: tuple[str, ...], chunk_size: int) -> str:
    sizes = [names.members[member].size_bytes for member in members]
    for member, size in zip(members[:-1], sizes[:-1], strict=True):
        if size != chunk_size:
            return member
    return members[-1] if not 0 < sizes[-1] <= chunk_size else ""
