"""The members of a package and the names that no member may have. Pure; reading is archive.py's work.

Source: DSP0243, distribution as a single file; the refusals are common practice against hostile archives.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from staddle.kernel import Fault

__all__ = ["Member", "name_fault", "printable", "set_faults"]

_MOST_CHARACTERS = 1000  # ours: file systems take 255 bytes a part; the longest sound path is far below
_CONTROL = re.compile("[\x01-\x1f\x7f]")
_NOT_UTF8 = re.compile("[\ud800-\udfff]")  # lone surrogates stand for bytes that are no UTF-8
_DRIVE = re.compile(r"[A-Za-z]:")


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One file of a package. ``offset_bytes`` is where its content starts in an archive, 0 in a folder."""

    name: str
    size_bytes: int
    offset_bytes: int = 0


def name_fault(name: str, *, where: str) -> Fault | None:
    """What makes this name dangerous or unusable, or None."""
    reasons = (
        (not name, "the name is empty"),
        ("\0" in name, "it holds a NUL"),
        (_CONTROL.search(name) is not None, "it holds a control character"),
        (_NOT_UTF8.search(name) is not None, "it is not UTF-8"),
        (len(name) > _MOST_CHARACTERS, f"it is longer than {_MOST_CHARACTERS} characters"),
        (name.startswith("/"), "it is absolute"),
        ("\\" in name, "it holds a backslash"),
        (_DRIVE.match(name) is not None, "it begins with a drive letter"),
        (".." in name.split("/"), 'it holds ".."'),
    )
    found = [reason for broken, reason in reasons if broken]
    if not found:
        return None
    return Fault(
        what=f'the member name "{printable(name)}" is refused',
        where=where,
        why="; ".join(found),
        mend="do not use this package; ask its maker for a sound one",
    )


def printable(name: str) -> str:
    """The name as it can be shown to people: what cannot be printed is escaped."""
    text = name[:_MOST_CHARACTERS].encode("utf-8", "backslashreplace").decode()
    return text if text.isprintable() else "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)


def set_faults(names: Sequence[str], *, where: str) -> tuple[Fault, ...]:
    """What is wrong with the names taken together: doubles, names that differ only by case, descriptors."""
    faults = [
        Fault(
            what=f'the member "{name}" stands in the archive twice',
            where=where,
            why="two readers may each see another one of them",
            mend="do not use this package; ask its maker for a sound one",
        )
        for name in _doubles(names)
    ]
    for folded in _doubles([name.casefold() for name in dict.fromkeys(names)]):
        alike = [name for name in dict.fromkeys(names) if name.casefold() == folded]
        faults.append(
            Fault(
                what="the members " + " and ".join(f'"{name}"' for name in alike) + " differ only by case",
                where=where,
                why="on some file systems one would replace the other",
                mend="do not use this package; ask its maker for a sound one",
            )
        )
    return (*faults, *_descriptor_faults(names, where=where))


def _descriptor_faults(names: Sequence[str], *, where: str) -> Iterable[Fault]:
    descriptors = [name for name in dict.fromkeys(names) if name.lower().endswith(".ovf")]
    if not descriptors:
        yield Fault(
            what="there is no descriptor: no file name ends in .ovf",
            where=where,
            why="a package is an OVF descriptor with its files (DSP0243)",
            mend="name the .ova file, the .ovf file, or the folder that holds the .ovf file",
        )
    elif len(descriptors) > 1:
        yield Fault(
            what=f"there are {len(descriptors)} descriptors: " + ", ".join(f'"{d}"' for d in descriptors),
            where=where,
            why="a package has exactly one, and nothing tells which is meant",
            mend="keep one package in one place, or name the .ovf file that is meant",
        )


def _doubles(names: Iterable[str]) -> tuple[str, ...]:
    seen: set[str] = set()
    doubles: dict[str, None] = {}
    for name in names:
        if name in seen:
            doubles[name] = None
        seen.add(name)
    return tuple(doubles)
