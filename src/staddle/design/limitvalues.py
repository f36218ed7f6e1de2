"""What the values of limits.yaml mean: platforms with versions, processor levels, counts, spans, upgrade paths.

Every reader takes the text and raises InputRefused without a place; whoever knows the row adds it. Not here: which
questions there are (limitquestions.py), rows and places (limits.py), whether a job keeps to them (review/).
"""

import re
from dataclasses import dataclass
from typing import Final

from staddle.kernel import InputRefused, parse_duration

__all__ = [
    "DISK_GROWTH",
    "PLATFORM_FORM",
    "PROCESSOR_LEVELS",
    "PlatformRange",
    "count",
    "disk_growth",
    "platform",
    "processor_reaches",
    "span",
    "text",
    "upgrade",
]

PROCESSOR_LEVELS: Final = ("x86-64", "x86-64-v2", "x86-64-v3", "x86-64-v4")
"""From the least. Source: x86-64 psABI, micro-architecture levels (from memory); the first is the baseline, v1."""

DISK_GROWTH: Final = ("may grow", "only at creation", "not")
PLATFORM_FORM: Final = "NAME, NAME 8.2, NAME 7 to 8.2 or NAME 8.2 or later"
_VERSION: Final = r"\d{1,9}(?:\.\d{1,9})*"
_PLATFORM: Final = re.compile(
    rf"(?P<name>\S(?:.*?\S)??)(?:\s+(?P<first>{_VERSION})(?:\s+to\s+(?P<last>{_VERSION})|(?P<later>\s+or later))?)?"
)
_MOST_COUNT: Final = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class PlatformRange:
    """A platform and its versions from ``first`` to ``last``; () is open. A version holds all below it: 8 holds 8.2."""

    name: str
    first: tuple[int, ...] = ()
    last: tuple[int, ...] = ()

    def holds(self, version: str) -> bool | None:
        """Whether that version is in the range; None where it is written too short, or not as numbers, to tell.

        Example: PlatformRange(name="kvm", first=(8, 2)).holds("8") is None
        """
        if not self.first and not self.last:
            return True
        if re.fullmatch(_VERSION, version) is None:
            return None
        found = _parts(version)
        if any(len(found) < len(end) and end[: len(found)] == found for end in (self.first, self.last)):
            return None
        return self.first <= found and (not self.last or found[: len(self.last)] <= self.last)


def platform(written: str) -> PlatformRange:
    """A platform with its versions. Raises: InputRefused: not in one of the four forms, or the range runs backwards."""
    found = _PLATFORM.fullmatch(written)
    if found is None:
        raise InputRefused.one(f'"{written}" is no platform with its versions', mend=f"write {PLATFORM_FORM}")
    first = _parts(found["first"])
    last = _parts(found["last"]) if found["last"] else () if found["later"] else first
    if last and last < first[: len(last)]:
        raise InputRefused.one(
            f'"{written}" runs from {found["first"]} back to {found["last"]}',
            mend="write the lower version first",
        )
    return PlatformRange(name=found["name"], first=first, last=last)


def processor_reaches(level: str, least: str) -> bool | None:
    """Whether a processor level is at least another one; None where the two cannot be compared."""
    if level.casefold() == least.casefold():
        return True
    if level.casefold() not in PROCESSOR_LEVELS or least.casefold() not in PROCESSOR_LEVELS:
        return None
    return PROCESSOR_LEVELS.index(level.casefold()) >= PROCESSOR_LEVELS.index(least.casefold())


def count(written: str) -> int:
    """A whole number from 1. Raises: InputRefused: it is none."""
    if re.fullmatch(r"[1-9]\d{0,6}", written, re.ASCII) is None or int(written) > _MOST_COUNT:
        raise InputRefused.one(f'"{written}" is not a whole number from 1 to {_MOST_COUNT}')
    return int(written)


def span(written: str) -> float:
    """A span with its unit, in milliseconds. Raises: InputRefused: it is none, or not above 0."""
    found_ms = parse_duration(written).total_seconds() * 1000
    if found_ms <= 0:
        raise InputRefused.one(f'"{written}" is no span of time', mend="write for example 5 ms")
    return found_ms


def disk_growth(written: str) -> str:
    """One of the three rules of disk growth. Raises: InputRefused: another text."""
    if written not in DISK_GROWTH:
        raise InputRefused.one(
            f'"{written}" is no rule of disk growth', mend="write " + ", ".join(DISK_GROWTH[:2]) + " or not"
        )
    return written


def upgrade(written: str) -> tuple[str, str]:
    """An upgrade path. Raises: InputRefused: not two versions with "to" between them."""
    found = re.fullmatch(r"(\S+)\s+to\s+(\S+)", written)
    if found is None:
        raise InputRefused.one(f'"{written}" is no upgrade path', mend="write for example 4.1 to 4.2")
    return found[1], found[2]


def text(written: str) -> str:
    """Any text."""
    return written


def _parts(version: str | None) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split(".")) if version else ()
