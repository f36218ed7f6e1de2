"""The readers of outside bytes, each as one function of bytes that must either end well or refuse in the program's own words.

The same functions are run over the kept corpus by ``make test`` and over invented inputs by ``make fuzz``. What they
promise is asserted in here; what invents the inputs is in target.py.
"""

import io
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO, Final

from lxml import etree

from staddle.kernel import InputRefused, OutsideFailed, canonical_json, from_json
from staddle.package import Package, check_answer, read_environment
from staddle.package.archive import FolderArchive, open_archive
from staddle.package.descriptor import read_descriptor
from staddle.package.manifesttext import read_manifest, write_manifest
from staddle.package.members import Member, name_fault
from staddle.package.qualifiers import read_qualifiers, write_qualifiers
from staddle.package.units import amount_of, read_units

__all__ = ["CORPUS", "PARTS", "in_memory"]

CORPUS: Final = Path(__file__).with_name("corpus")
_TEXTS: Final = (
    b'<Strings xmlns="http://schemas.dmtf.org/ovf/envelope/2" xmlns:ovf="http://schemas.dmtf.org/ovf/envelope/2">'
    b'<Msg ovf:msgid="l">Ah</Msg></Strings>'
)
_SCRATCH: Final = Path(f"/dev/shm/staddle-fuzz-{os.getpid()}.ova")


class _InMemory(FolderArchive):
    """A package whose files lie in memory: the descriptor, and whatever small files it may refer to."""

    def __init__(self, descriptor: bytes) -> None:
        self.contents = {"box.ovf": descriptor, "texts.xml": _TEXTS, "a.img": b"abc", "b b.img": b"x"}
        self.contents |= {f"c.img.{number:09d}": b"ab"[: 2 - number] for number in range(2)}
        super().__init__(
            Path("fuzz"),
            {name: Member(name=name, size_bytes=len(data)) for name, data in self.contents.items()},
            "box.ovf",
        )

    def open(self, name: str) -> BinaryIO:
        return io.BytesIO(self.contents[name])


def in_memory(descriptor: bytes) -> FolderArchive:
    """A package in memory with this descriptor."""
    return _InMemory(descriptor)


def archive(data: bytes) -> None:
    """Any bytes as an OVA: read or refused, and no member lies outside of it or has a name that leads out."""
    scratch = _SCRATCH if _SCRATCH.parent.is_dir() else Path(tempfile.gettempdir()) / _SCRATCH.name
    scratch.write_bytes(data)
    try:
        opened = open_archive(scratch)
    except InputRefused:
        return
    finally:
        scratch.unlink()
    for member in opened.members.values():
        assert name_fault(member.name, where="") is None
        assert 0 <= member.offset_bytes <= member.offset_bytes + member.size_bytes <= len(data)


def descriptor(data: bytes) -> None:
    """Any bytes as a descriptor: read or refused; what is read has hardware, and survives the way through JSON."""
    try:
        package = read_descriptor(in_memory(data))
    except InputRefused:
        return
    _judge(package)


def _judge(package: Package) -> None:
    assert {h.size_id for h in package.hardware} == {s.size_id for s in package.sizes}
    assert all(h.processors > 0 and h.memory_bytes > 0 for h in package.hardware)
    assert all(disk.capacity_for(size.size_id) > 0 for disk in package.disks for size in package.sizes)
    assert all(name_fault(file.path, where="") is None for file in package.environment_files)
    for prop in package.properties:
        for _, value in prop.defaults:
            check_answer(prop, value)
    assert from_json(canonical_json(package), Package) == package


def mutilated(data: bytes) -> None:
    """The sound descriptors of the corpus, changed as the bytes say: three bytes choose where and how."""
    documents = sorted((CORPUS / "descriptor").glob("*.ovf"))
    if not data:
        return
    root = etree.fromstring(documents[data[0] % len(documents)].read_bytes())
    words = [element.get(name, "") for element in root.iter("*") for name in element.attrib]
    for at in range(1, min(len(data), 40) - 3, 4):
        elements = [element for element in root.iter("*") if element is not root]
        if not elements:
            break
        element = elements[(data[at] * 256 + data[at + 1]) % len(elements)]
        parent, how, what = element.getparent(), data[at + 2] % 7, data[at + 3]
        assert parent is not None
        names = sorted(map(str, element.attrib))
        if how in (0, 1) and names:
            odd = ("", "0", "-1", "9" * 25, "${a}", "..", "a,b", "true", "byte * 2^99", "\u0663", "MinLen(")
            element.set(names[what % len(names)], odd[what % len(odd)] if how else words[what % len(words)])
        elif how == 2 and names:
            del element.attrib[names[what % len(names)]]
        elif how == 3:
            element.text = words[what % len(words)]
        elif how == 4:
            parent.append(etree.fromstring(etree.tostring(element)))
        elif how == 5:
            others = [e for e in elements if e is not element and element not in e.iterancestors()]
            if others:
                others[what % len(others)].append(element)
        else:
            parent.remove(element)
    descriptor(etree.tostring(root))


def environment(data: bytes) -> None:
    """Any bytes as an environment document: read or refused."""
    try:
        read_environment(data)
    except InputRefused:
        return


def manifest(data: bytes) -> None:
    """Any bytes as a manifest: refused, or read to lines that are the same when written and read again."""
    try:
        lines = read_manifest(data, where="fuzz")
    except InputRefused:
        return
    assert read_manifest(write_manifest(lines), where="fuzz") == lines


def units(data: bytes) -> None:
    """Any text as a unit: refused, or a factor above nothing."""
    try:
        found = read_units(data.decode("utf-8", "replace"))
        assert found.factor > 0
        amount_of(3, found)
    except InputRefused:
        return


def qualifiers(data: bytes) -> None:
    """Any text as qualifiers: refused, or read to what is the same when written and read again."""
    try:
        found = read_qualifiers(data.decode("utf-8", "replace"))
    except InputRefused:
        return
    again = read_qualifiers(write_qualifiers(found))
    assert (again.min_length, again.max_length, again.allowed) == (
        found.min_length,
        found.max_length,
        found.allowed,
    )


PARTS: Final[dict[str, Callable[[bytes], None]]] = {
    "archive": archive,
    "descriptor": descriptor,
    "mutilated": mutilated,
    "environment": environment,
    "manifest": manifest,
    "units": units,
    "qualifiers": qualifiers,
}
# Failing to reach the scratch file is no answer of a reader; it must not be taken for one.
assert not issubclass(OutsideFailed, InputRefused)
