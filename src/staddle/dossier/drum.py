"""One storage pool of the placement drawing: a drum with its level, our part of it, and the floor that stays free."""

from collections.abc import Iterator
from typing import Final

import svg

from staddle.dossier.elevation import PoolElevation
from staddle.dossier.ink import ACCENT, PALE, PAPER, letter, outline, titled
from staddle.dossier.lettering import shorten, width
from staddle.kernel import format_decimal

__all__ = ["DRUM_BLOCK_HEIGHT", "DRUM_WIDTH", "drum"]

DRUM_WIDTH: Final = 80
DRUM_BLOCK_HEIGHT: Final = 122
_BODY: Final = 58
_ACROSS: Final = 58
_ROUND: Final = 7  # the half height of the ellipse at top and bottom
_LETTER: Final = 10


def drum(pool: PoolElevation, x: float, foot: float) -> svg.Element:
    """The drum with its names above, in a block of DRUM_WIDTH by DRUM_BLOCK_HEIGHT that stands on ``foot``."""
    left = x + (DRUM_WIDTH - _ACROSS) / 2
    bottom = foot - _ROUND - 1
    top = bottom - _BODY
    used, ours = _share(pool.used_bytes, pool), _share(pool.used_bytes + pool.ours_bytes, pool)
    shapes = [_slice(left, bottom, top, fill=PAPER)]
    if used > 0:
        shapes.append(_slice(left, bottom, bottom - used * _BODY, fill="used", thick=0.6))
    if pool.ours_bytes:
        height = max((ours - used) * _BODY, 2.5)  # to be seen even where it is little
        base = min(bottom - used * _BODY, bottom)
        shapes.append(_slice(left, base, max(base - height, top), fill=ACCENT, thick=0.6))
    if 0 < pool.floor_percent < 100:
        floor = top + _BODY * pool.floor_percent / 100
        shapes.append(_rim(left, floor, dash="3 2"))
    shapes += [
        _slice(left, bottom, top, fill="none", thick=1.2),
        outline(
            svg.M(left, top),
            svg.Arc(_ACROSS / 2, _ROUND, 0, False, True, left + _ACROSS, top),
            svg.Arc(_ACROSS / 2, _ROUND, 0, False, True, left, top),
            fill=PAPER,
            thick=1.2,
        ),
        *_names(pool, x + DRUM_WIDTH / 2, top - _ROUND - 6),
    ]
    return titled(_sentence(pool), shapes)


def _share(amount: int, pool: PoolElevation) -> float:
    return min(1.0, max(0.0, amount / pool.capacity_bytes)) if pool.capacity_bytes else 0.0


def _slice(left: float, bottom: float, top: float, *, fill: str, thick: float = 1) -> svg.Element:
    """The part of the drum between two levels, with rounded edges as seen from a little above."""
    return outline(
        svg.M(left, top),
        svg.L(left, bottom),
        svg.Arc(_ACROSS / 2, _ROUND, 0, False, False, left + _ACROSS, bottom),
        svg.L(left + _ACROSS, top),
        svg.Arc(_ACROSS / 2, _ROUND, 0, False, True, left, top),
        svg.Z(),
        fill=fill,
        thick=thick,
    )


def _rim(left: float, y: float, *, dash: str) -> svg.Element:
    return outline(
        svg.M(left, y), svg.Arc(_ACROSS / 2, _ROUND, 0, False, False, left + _ACROSS, y), thick=1, dash=dash
    )


def _names(pool: PoolElevation, middle: float, base: float) -> Iterator[svg.Element]:
    room = DRUM_WIDTH - 4
    lines = [pool.name, _amounts(pool, room)]
    if pool.inside_host:
        lines.append(f"in {pool.inside_host}")
    for number, text in enumerate(reversed(lines)):
        first = number == len(lines) - 1
        yield letter(
            shorten(text, room, _LETTER),
            middle,
            base - number * 12,
            _LETTER,
            anchor="middle",
            colour=ACCENT if first and pool.ours_bytes else PALE,
            bold=first and pool.ours_bytes > 0,
        )


def _amounts(pool: PoolElevation, room: float) -> str:
    """What is taken, of what there is, in the unit of the latter."""
    for unit, size in (("TB", 1000**4), ("GB", 1000**3), ("MB", 1000**2)):
        if pool.capacity_bytes >= size:
            taken = (pool.used_bytes + pool.ours_bytes) / size
            whole = pool.capacity_bytes / size
            texts = (f"{taken:.1f}/{whole:.4g} {unit}", f"{taken:.0f}/{whole:.0f} {unit}")
            return next((text for text in texts if width(text, _LETTER) <= room), texts[-1])
    return format_decimal(pool.capacity_bytes)


def _sentence(pool: PoolElevation) -> str:
    inside = f", disks inside host {pool.inside_host}" if pool.inside_host else ""
    ours = f", {format_decimal(pool.ours_bytes)} of it for our members" if pool.ours_bytes else ""
    return (
        f"pool {pool.name}{inside}: {format_decimal(pool.used_bytes + pool.ours_bytes)} of "
        f"{format_decimal(pool.capacity_bytes)} taken{ours}; {pool.floor_percent:g} % stays free."
    )
