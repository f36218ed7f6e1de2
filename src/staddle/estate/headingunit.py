"""Units as headings and cells of exports write them, and what they may mean. Amounts are computed in takencells.py."""

import re
from typing import Final

from staddle.kernel.units import BINARY_PREFIXES, DECIMAL_PREFIXES

__all__ = [
    "AS_WRITTEN",
    "UNITS",
    "heading_unit",
    "is_binary",
    "is_loose",
    "unit_factor",
    "unit_told",
    "without_unit",
]

AS_WRITTEN: Final = "cell"
UNITS: Final = (
    "B",
    *(f"{p}B" for p in ("k", "M", "G", "T", "P")),
    *(f"{p}iB" for p in ("K", "M", "G", "T", "P")),
)

_SPELT: Final = {"bytes": "B", "byte": "B", "b": "B", "percent": "%", "%": "%"} | {
    unit.casefold(): unit for unit in UNITS
}
_LETTERS: Final = {"k": "kB", "m": "MB", "g": "GB", "t": "TB", "p": "PB"}
_IN_MARKS: Final = re.compile(r"[(\[{]\s*([A-Za-z%]+)\s*[)\]}]\s*$")
_AT_END: Final = re.compile(r"(?:[\s_]in)?[\s_,/]+([A-Za-z%]+)\s*$")


def heading_unit(heading: str) -> str:
    """The unit that a heading names, as "GB", "GiB" or "%"; "" if it names none.

    Example: heading_unit("Memory (GB)") == "GB"
    """
    found = _found(heading)
    return found[0] if found else ""


def without_unit(heading: str) -> str:
    """The heading without the unit it names. Example: without_unit("ram_gib") == "ram" """
    found = _found(heading)
    return heading[: found[1]] if found else heading


def _found(heading: str) -> tuple[str, int] | None:
    for pattern in (_IN_MARKS, _AT_END):
        match = pattern.search(heading)
        if match and (unit := _SPELT.get(match[1].casefold())):
            return unit, match.start()
    return None


def unit_factor(written: str) -> int | None:
    """Bytes of the unit as written, None if it is none. A lone letter such as "G" counts as "GB"."""
    unit = _SPELT.get(written.casefold()) or _LETTERS.get(written.casefold())
    if unit is None or unit == "%":
        return None
    prefix = unit.removesuffix("B")
    factor: int = (BINARY_PREFIXES if "i" in prefix else DECIMAL_PREFIXES)[prefix]
    return factor


def is_binary(unit: str) -> bool:
    """Whether the unit is one of KiB, MiB, GiB …"""
    return unit.casefold().endswith("ib")


def is_loose(written: str) -> bool:
    """Whether people write it for powers of 1000 and of 1024 alike: MB, GB, G, and the like."""
    return not is_binary(written) and (unit_factor(written) or 1) > 1


def unit_told(unit: str) -> str:
    """The unit with its meaning: "GB = 10^9 bytes"."""
    if unit in ("", "B", "%", AS_WRITTEN):
        return {"B": "B = 1 byte", AS_WRITTEN: "as each cell writes it"}.get(unit, unit)
    letters = "kmgtp".index(unit[0].casefold()) + 1
    return f"{unit} = 2^{letters * 10} bytes" if is_binary(unit) else f"{unit} = 10^{letters * 3} bytes"
