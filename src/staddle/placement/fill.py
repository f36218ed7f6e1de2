"""How full a host or pool is, in per mille, so that the search and the definition of its levels count alike."""

from collections.abc import Iterable
from typing import Final

__all__ = ["fill_permille", "fill_unit"]

_FILL_BITS: Final = 24  # totals of at most 2^24 units keep the solver's sums far from 2^63


def fill_unit(total_bytes: int) -> int:
    """The unit, a power of two, in which fill is counted for a host or pool of that total: at most 2^24 units."""
    return 1 << max(0, total_bytes.bit_length() - _FILL_BITS)


def fill_permille(total_bytes: int, left_bytes: int, needs_bytes: Iterable[int]) -> int:
    """How full it is with these needs, in per mille of its total, rounded up; what is not left counts as full.

    Counted in whole units (fill_unit), needs down and the total up, so that a whole per mille stays one.
    """
    unit = fill_unit(total_bytes)
    taken = (total_bytes - left_bytes) // unit + sum(need // unit for need in needs_bytes)
    return -(-1000 * taken // max(1, -(-total_bytes // unit)))
