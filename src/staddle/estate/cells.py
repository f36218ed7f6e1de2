"""One cell of a table to its value and back. No tables in here (columns.py), no files (rows.py, tables.py).

Every reader takes the cell's text without outer blanks and raises InputRefused without a place; whoever knows
the row adds it. The unit stands in the cell, so that a column can be exported from anywhere and still be read.
"""

import ipaddress
import re
from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Final

from staddle.kernel import InputRefused, parse_bytes, parse_duration
from staddle.kernel.units import BINARY_PREFIXES, DECIMAL_PREFIXES

__all__ = [
    "LIST_SEPARATOR",
    "address",
    "addresses",
    "amount",
    "decimal_text",
    "exact_binary",
    "exact_decimal",
    "exact_span",
    "joined",
    "name",
    "names",
    "percent",
    "percent_text",
    "prefix",
    "ranges",
    "ratio",
    "span",
    "text",
    "whole",
]

LIST_SEPARATOR: Final = ";"
_DECIMAL: Final = re.compile(r"\d+(\.\d+)?")


def text(cell: str) -> str:
    """Any printable text. Raises: InputRefused: control characters or blanks that cannot be seen."""
    if not cell.isprintable():
        raise InputRefused.one(f"{cell!r} holds characters that cannot be printed", mend="type it again")
    return cell


def name(cell: str) -> str:
    """A name: printable, and without the sign that separates lists, so that others can refer to it."""
    if LIST_SEPARATOR in cell:
        raise InputRefused.one(
            f'"{cell}" holds a "{LIST_SEPARATOR}"',
            why="that sign separates the names of a list, so nothing could refer to this name",
            mend="choose a name without it",
        )
    return text(cell)


def names(cell: str) -> tuple[str, ...]:
    """A list of names separated by ";". Blank is the empty list. Raises: InputRefused: a blank or doubled entry."""
    found = tuple(part.strip() for part in cell.split(LIST_SEPARATOR)) if cell else ()
    if "" in found:
        raise InputRefused.one(
            f'"{cell}" holds an empty entry', mend=f'write for example "first{LIST_SEPARATOR} second"'
        )
    if len(set(found)) < len(found):
        twice = next(entry for entry in found if found.count(entry) > 1)
        raise InputRefused.one(f'"{twice}" stands twice in "{cell}"', mend="name it once")
    return tuple(name(part) for part in found)


def whole(lowest: int, highest: int) -> Callable[[str], int]:
    """A reader of whole numbers in that range."""

    def read(cell: str) -> int:
        if not (cell.isascii() and cell.isdigit()) or not lowest <= int(cell[:20]) <= highest:
            raise InputRefused.one(f'"{cell}" is not a whole number from {lowest} to {highest}')
        return int(cell)

    return read


def ratio(lowest: str, highest: str) -> Callable[[str], float]:
    """A reader of decimal numbers in that range, with a point and without a unit."""

    def read(cell: str) -> float:
        if not _DECIMAL.fullmatch(cell) or not Decimal(lowest) <= Decimal(cell) <= Decimal(highest):
            raise InputRefused.one(f'"{cell}" is not a number from {lowest} to {highest}')
        return float(cell)

    return read


def percent(lowest: str, highest: str) -> Callable[[str], float]:
    """A reader of percentages in that range, with the sign in the cell: "15 %"."""

    def read(cell: str) -> float:
        number = cell.removesuffix("%").rstrip()
        if not cell.endswith("%") or not _DECIMAL.fullmatch(number):
            raise InputRefused.one(f'"{cell}" is not a percentage', mend='write for example "15 %"')
        if not Decimal(lowest) <= Decimal(number) <= Decimal(highest):
            raise InputRefused.one(f'"{cell}" is not from {lowest} % to {highest} %')
        return float(number)

    return read


def amount(lowest: str, highest: str) -> Callable[[str], int]:
    """A reader of amounts of bytes in that range, both ends written with their unit."""
    return _between(parse_bytes, lowest, highest)


def span(lowest: str, highest: str) -> Callable[[str], int]:
    """A reader of durations in that range, both ends written with their unit, to whole microseconds."""
    return _between(_microseconds, lowest, highest)


def _between(measure: Callable[[str], int], lowest: str, highest: str) -> Callable[[str], int]:
    least, most = measure(lowest), measure(highest)

    def read(cell: str) -> int:
        found = measure(cell)
        if not least <= found <= most:
            raise InputRefused.one(
                f'"{cell}" is not from {lowest} to {highest}', mend="look whether the unit is the right one"
            )
        return found

    return read


def _microseconds(text: str) -> int:
    return parse_duration(text) // timedelta(microseconds=1)


def address(cell: str) -> str:
    """An IPv4 or IPv6 address, in its canonical form."""
    try:
        return str(ipaddress.ip_address(cell))
    except ValueError as exc:
        raise InputRefused.one(
            f'"{cell}" is not an IP address', mend='write for example "192.0.2.1"'
        ) from exc


def addresses(cell: str) -> tuple[str, ...]:
    """A list of addresses separated by ";"."""
    return tuple(address(entry) for entry in names(cell))


def prefix(cell: str) -> str:
    """A network in CIDR form, without host bits. Source: RFC 4632 §3.1."""
    try:
        return str(ipaddress.ip_network(cell))
    except ValueError as exc:
        raise InputRefused.one(
            f'"{cell}" is not a network in CIDR form: {exc}', mend='write for example "192.0.2.0/25"'
        ) from exc


def ranges(cell: str) -> tuple[str, ...]:
    """A list of addresses or ranges "first-last", separated by ";"."""
    return tuple(_range(entry) for entry in names(cell))


def _range(entry: str) -> str:
    first, dash, last = (part.strip() for part in entry.partition("-"))
    if not dash:
        return address(first)
    low, high = ipaddress.ip_address(address(first)), ipaddress.ip_address(address(last))
    if low.version != high.version or int(low) > int(high):
        raise InputRefused.one(
            f'"{entry}" is not a range of addresses',
            why="the first must not stand behind the last",
            mend='write for example "192.0.2.10-192.0.2.20"',
        )
    return f"{low}-{high}"


def joined(entries: tuple[str, ...]) -> str:
    """A list as its cell."""
    return f"{LIST_SEPARATOR} ".join(entries)


def exact_binary(amount_bytes: int) -> str:
    """Bytes in the largest binary unit that holds them exactly: 1.5 TiB is "1536 GiB"."""
    return _exact(amount_bytes, BINARY_PREFIXES)


def exact_decimal(amount_bytes: int) -> str:
    """Bytes in the largest decimal unit that holds them exactly."""
    return _exact(amount_bytes, DECIMAL_PREFIXES)


def exact_span(span_us: int) -> str:
    """Microseconds in milliseconds, exactly: "0.4 ms"."""
    return f"{decimal_text(span_us / 1000)} ms"


def _exact(amount_bytes: int, prefixes: dict[str, int]) -> str:
    if amount_bytes == 0:
        return "0 B"
    sign, factor = max((item for item in prefixes.items() if amount_bytes % item[1] == 0), key=lambda i: i[1])
    return f"{amount_bytes // factor} {sign}B"


def decimal_text(number: float) -> str:
    """A number without an exponent, in the fewest digits that read back as the same number: "4", "1.25"."""
    written = format(Decimal(repr(number)), "f")
    return written.rstrip("0").rstrip(".") if "." in written else written


def percent_text(number: float) -> str:
    """A percentage as its cell: "15 %"."""
    return f"{decimal_text(number)} %"
