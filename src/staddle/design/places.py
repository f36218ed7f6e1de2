"""Where each value of a text file stands: paths, spots, and the faults that are told with them.

A path is the way to a value, ``("members", 1, "name")``, written ``members[1].name`` (rows count from 0). Not here:
reading (markedyaml.py) and judging (modelfaults.py, checks.py).
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from staddle.kernel import Fault, InputRefused, OurFault

__all__ = ["LocatedFault", "Path", "Places", "Spot", "parse_path", "path_text", "raise_sorted"]

Path = tuple[str | int, ...]
_STEP: Final = re.compile(r"\[(\d+)\]|\.?([^.\[\]]+)")


@dataclass(frozen=True, slots=True, order=True)
class Spot:
    """A place in a text: line and column, both counted from 1 as editors do."""

    line: int
    column: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LocatedFault:
    """A fault and the spot it is sorted by; its ``where`` is filled in."""

    spot: Spot
    fault: Fault


def path_text(path: Path) -> str:
    """The path as people write it. Example: path_text(("members", 1, "name")) == "members[1].name" """
    text = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in path)
    return text.removeprefix(".")


def parse_path(text: str) -> Path:
    """The path from its text; "" is the whole file.

    Raises: OurFault: not a path. Paths are written by the program, so a bad one is a bug.
    """
    path: list[str | int] = []
    at = 0
    while at < len(text):
        match = _STEP.match(text, at)
        if match is None:
            raise OurFault.one(f'"{text}" is not a path such as members[1].name')
        path.append(match[2] if match[1] is None else int(match[1]))
        at = match.end()
    return tuple(path)


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """The spots of one file. ``where`` is the file's name as the reader should see it.

    Args: values, keys: spot of each value, and of the key in front of it, by path; written: each plain or quoted
        scalar as it stands in the file.
    """

    where: str
    values: Mapping[Path, Spot]
    keys: Mapping[Path, Spot]
    written: Mapping[Path, str]

    def spot(self, path: Path | str) -> Spot:
        """The spot of a value, or of the nearest thing around it where the value is not in the file."""
        steps = parse_path(path) if isinstance(path, str) else path
        while steps and steps not in self.values:
            steps = steps[:-1]
        return self.values.get(steps, Spot(1, 1))

    def find(self, path: Path | str) -> str:
        """``file:line:column`` of a value; of the row or block that would hold it where a default is at work.

        Example: places.find("members[1].name") == "design.yaml:12:11"
        """
        return self.tell(self.spot(path))

    def holds(self, path: Path | str) -> bool:
        """Whether the value is written in the file, not a default."""
        return (parse_path(path) if isinstance(path, str) else path) in self.values

    def tell(self, spot: Spot) -> str:
        """A spot as ``file:line:column``."""
        return f"{self.where}:{spot.line}:{spot.column}"

    def fault_at(self, path: Path, fault: Fault, *, at_key: bool = False) -> LocatedFault:
        """The fault with its place filled in."""
        spot = self.keys.get(path, self.spot(path)) if at_key else self.spot(path)
        return LocatedFault(spot=spot, fault=replace(fault, where=self.tell(spot)))


def raise_sorted(faults: Iterable[LocatedFault]) -> None:
    """Raise every fault at once, in the order of the file; nothing happens for none.

    Raises: InputRefused: there is at least one fault.
    """
    ordered = sorted(faults, key=lambda located: located.spot)
    if ordered:
        raise InputRefused(*(located.fault for located in ordered))
