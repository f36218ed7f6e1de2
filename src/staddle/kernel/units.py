"""Quantities as people write them, to whole numbers and back: bytes, rates, durations.

Memory is printed in binary units, disks and links in decimal ones, and the unit is always printed.
Needs are rounded up and capacities down where a text cannot be exact. Not here: OVF's programmatic
units (package/units.py).

Source: IEC 80000-13 prefixes (check value d4).
"""

import re
from datetime import timedelta
from fractions import Fraction
from typing import Final

from staddle.kernel.errors import InputRefused

__all__ = [
    "BINARY_PREFIXES",
    "DECIMAL_PREFIXES",
    "format_binary",
    "format_decimal",
    "format_duration",
    "parse_bytes",
    "parse_days",
    "parse_duration",
]

BINARY_PREFIXES: Final = {
    p: 1024**i for i, p in enumerate(("", "Ki", "Mi", "Gi", "Ti", "Pi", "Ei", "Zi", "Yi"))
}
DECIMAL_PREFIXES: Final = {p: 1000**i for i, p in enumerate(("", "k", "M", "G", "T", "P", "E", "Z", "Y"))}
_BYTE_UNITS: Final = {f"{p}B": f for p, f in (BINARY_PREFIXES | DECIMAL_PREFIXES).items()} | {"KB": 1000}
_SECONDS: Final = {
    "ms": Fraction(1, 1000),
    "s": Fraction(1),
    "min": Fraction(60),
    "h": Fraction(3600),
    "d": Fraction(86400),
}
_NUMBER: Final = r"(?P<number>\d+(?:\.\d+)?)\s*(?P<unit>[A-Za-z]+)"


def parse_bytes(text: str) -> int:
    """Bytes from "64 GiB", "2 TB" or "512 B". The unit is required: a bare number does not say what it counts.

    Returns: whole bytes; a fraction of a byte is an error.
    Raises: InputRefused: not a number with a unit of bytes. Upper-case "K" is read as 1000.
    Example: parse_bytes("1.5 KiB") == 1536
    """
    match = re.fullmatch(_NUMBER, text.strip())
    if match is None or match["unit"] not in _BYTE_UNITS:
        raise InputRefused.one(
            f'"{text}" is not an amount of bytes',
            why="a number and its unit are expected; MiB and MB differ by 5 %, so the unit is never guessed",
            mend='write for example "64 GiB", "500 GB" or "4096 B"',
        )
    amount = Fraction(match["number"]) * _BYTE_UNITS[match["unit"]]
    if amount.denominator != 1:
        raise InputRefused.one(f'"{text}" is not a whole number of bytes', mend="use a smaller unit")
    return int(amount)


def parse_duration(text: str) -> timedelta:
    """A duration from "90 s", "10 min", "1.5 h", "2 d" or "250 ms"; a bare number is refused.

    Raises: InputRefused: not a number with one of these units.
    Example: parse_duration("1.5 h") == timedelta(minutes=90)
    """
    match = re.fullmatch(_NUMBER, text.strip())
    if match is None or match["unit"] not in _SECONDS:
        raise InputRefused.one(
            f'"{text}" is not a duration',
            why='a number with one of the units ms, s, min, h, d is expected ("m" could be minutes or months)',
            mend='write for example "90 s" or "10 min"',
        )
    return timedelta(microseconds=int(Fraction(match["number"]) * _SECONDS[match["unit"]] * 1_000_000))


def parse_days(text: str) -> int:
    """A duration of whole days, at least one: "30 d". Hours that make whole days will do.

    Raises: InputRefused: not a duration, or not of whole days.
    Example: parse_days("30 d") == 30
    """
    days, rest = divmod(parse_duration(text), timedelta(days=1))
    if rest or days < 1:
        raise InputRefused.one(
            f'"{text}" is not a number of whole days, at least one', mend='write for example "30 d"'
        )
    return days


def format_binary(amount_bytes: int) -> str:
    """Bytes in the largest binary unit that leaves at least 1, up to two decimals: "64 GiB", "1.5 KiB"."""
    return _format(amount_bytes, BINARY_PREFIXES)


def format_decimal(amount_bytes: int) -> str:
    """Bytes in the largest decimal unit that leaves at least 1, up to two decimals: "500 GB"."""
    return _format(amount_bytes, DECIMAL_PREFIXES)


def _format(amount_bytes: int, prefixes: dict[str, int]) -> str:
    prefix, factor = max(
        ((p, f) for p, f in prefixes.items() if f <= max(abs(amount_bytes), 1)), key=lambda pf: pf[1]
    )
    number = f"{amount_bytes / factor:.2f}".rstrip("0").rstrip(".")
    return f"{number} {prefix}B"


def format_duration(span: timedelta) -> str:
    """A duration in at most two units: "45 s", "2 min 5 s", "3 h 10 min", "0.25 s" below one second."""
    seconds = span.total_seconds()
    if seconds < 0:
        return "-" + format_duration(-span)
    if seconds < 10:
        return f"{seconds:.2f}".rstrip("0").rstrip(".") + " s"
    whole = round(seconds)
    parts = []
    for unit, length in (("d", 86400), ("h", 3600), ("min", 60), ("s", 1)):
        count, whole = divmod(whole, length)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts[:2])
