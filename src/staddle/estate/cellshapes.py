"""What the cells of one column of an export look like: networks, addresses, amounts, counts, known names."""

import ipaddress
import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from staddle.estate.cellkinds import CellKind
from staddle.estate.takencells import NOTHING_WORDS

__all__ = ["Shape", "fits", "shape_of"]

_AMOUNT: Final = re.compile(r"[\d.,\s]*\d\s*([KMGTP]i?B?|B|kB)", re.IGNORECASE)
_NUMBER: Final = re.compile(r"\d[\d.,\s]*")
_PERCENT: Final = re.compile(r"\d[\d.,]*\s*%")
_SIGNS: Final = (";", ",", "\n", "|")
_MOST: Final = 2000  # cells that are looked at; the shape of a column shows sooner


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """Shares, 0 to 1, of the cells with text that look so. ``known`` is the share that are names of that noun."""

    filled: int
    networks: float
    addresses: float
    amounts: float
    percents: float
    numbers: float
    units: frozenset[str]
    unlike: float
    known: Mapping[str, float]
    separator: str
    decimal: str
    nothings: tuple[str, ...]


def shape_of(texts: Iterable[str], known: Mapping[str, Collection[str]]) -> Shape:
    """The shape of a column from its cells. Args: known: names of the other tables by noun."""
    cells = [text for text in texts if text][:_MOST]
    nothings = tuple(sorted({text.casefold() for text in cells if text.casefold() in NOTHING_WORDS}))
    cells = [text for text in cells if text.casefold() not in NOTHING_WORDS]
    many = max(len(cells), 1)
    separator = _separator(cells)
    parts = [part.strip() for text in cells for part in (text.split(separator) if separator else [text])]
    amounts = [match[1] for text in cells if (match := _AMOUNT.fullmatch(text))]
    return Shape(
        filled=len(cells),
        networks=sum(map(_is_network, cells)) / many,
        addresses=sum(map(_is_address, parts)) / max(len(parts), 1),
        amounts=len(amounts) / many,
        percents=sum(1 for text in cells if _PERCENT.fullmatch(text)) / many,
        numbers=sum(1 for text in cells if _NUMBER.fullmatch(text)) / many,
        units=frozenset(amounts),
        unlike=len(set(cells)) / many,
        known={
            noun: sum(1 for part in parts if part in names) / max(len(parts), 1)
            for noun, names in known.items()
            if names
        },
        separator=separator,
        decimal=_decimal(cells),
        nothings=nothings,
    )


def fits(kind: CellKind, shape: Shape) -> bool | None:
    """Whether cells of that shape can be of that kind; None where there is nothing to see."""
    if not shape.filled:
        return None
    numeric = shape.numbers >= 0.5
    if kind in (CellKind.MEMORY, CellKind.DISK):
        return shape.amounts + shape.numbers >= 0.5
    if kind is CellKind.PERCENT:
        return shape.percents + shape.numbers >= 0.5
    if kind in (CellKind.COUNT, CellKind.RATIO):
        return shape.amounts < 0.5 and shape.addresses < 0.5 and shape.networks < 0.5
    if kind is CellKind.PREFIX:
        return shape.networks + shape.addresses >= 0.5
    if kind in (CellKind.ADDRESS, CellKind.ADDRESSES, CellKind.RANGES):
        return shape.addresses >= 0.5
    if kind is CellKind.NAMES:
        return not numeric and shape.amounts < 0.5
    if kind is CellKind.NAME:
        return shape.amounts < 0.5 and shape.percents < 0.5 and shape.networks < 0.5
    return True


def _separator(cells: list[str]) -> str:
    counts = {sign: sum(1 for text in cells if sign in text) for sign in _SIGNS}
    best = max(counts, key=lambda sign: counts[sign])
    return best if counts[best] else ""


def _decimal(cells: list[str]) -> str:
    """The decimal mark that the numbers show: "" where no comma stands in one, "?" where it cannot be told."""
    numbers = [match[0] for text in cells if (match := re.match(r"\d[\d.,]*", text))]
    if not any("," in number for number in numbers):
        return ""
    for number in numbers:
        if "," in number and "." in number:
            return max(",.", key=number.rfind)
        if re.search(r",(?!\d{3}(?:\D|$))\d", number):
            return ","
    return "?"


def _is_network(text: str) -> bool:
    joined = re.sub(r"\s*/\s*|\s+", "/", text)
    if joined.count("/") != 1:
        return False
    try:
        return bool(ipaddress.ip_network(joined, strict=False))
    except ValueError:
        return False


def _is_address(text: str) -> bool:
    try:
        return all(
            ipaddress.ip_address(end.strip()) is not None for end in re.split(r"\s*[-–]\s*", text, maxsplit=1)
        )
    except ValueError:
        return False
