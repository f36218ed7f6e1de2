"""What the signs of the placement drawing mean, in lines below it."""

from collections.abc import Callable
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PALE, Drawn, box, letter, line
from staddle.dossier.lettering import width
from staddle.dossier.stone import STONE_HEIGHT, STONE_WIDTH, stone

__all__ = ["legend"]

_LINE: Final = 30
_SIZE: Final = 10
_GAP: Final = 17
_NOTE: Final = "Hosts are as high as their memory; drums are not to scale, their levels are."


def _swatch(fill: str) -> Callable[[float, float], list[svg.Element]]:
    return lambda x, foot: [box(x, foot - 16, 22, 14, fill=fill, thick=0.6)]


def _stone(role: str) -> Callable[[float, float], list[svg.Element]]:
    return lambda x, foot: stone(role, x, foot)


def _floor(x: float, foot: float) -> list[svg.Element]:
    return [line((x, foot - 9), (x + 22, foot - 9), dash="3 2", stroke=INK)]


def _broken(x: float, foot: float) -> list[svg.Element]:
    return [
        line((x + 11, foot - 18), (x + 11, foot - 1)),
        line((x + 7, foot - 7), (x + 15, foot - 12)),
        line((x + 7, foot - 3), (x + 15, foot - 8)),
    ]


def _feed(x: float, foot: float) -> list[svg.Element]:
    return [
        line((x, foot - 9), (x + 22, foot - 9), thick=0.9),
        svg.Circle(cx=x + 11, cy=foot - 9, r=2.2, fill=INK),
    ]


_SIGNS: Final = (
    (_stone("leader"), "leader"),
    (_stone("deputy"), "deputy"),
    (_stone("member"), "further member"),
    (_stone("no data"), "without data or vote"),
    (_swatch(ACCENT), "our members' part"),
    (_swatch("used"), "taken by others"),
    (_swatch("kept"), "kept by the host itself"),
    (_floor, "must stay free above"),
    (_feed, "power feed"),
    (_broken, "box higher than to scale"),
)


def legend(across: float, *, with_break: bool) -> Drawn:
    """All signs with their words, in as many lines as they need; the last line says what the boxes measure."""
    elements: list[svg.Element] = [line((0, 0), (across, 0), thick=0.6)]
    x, foot = 0.0, 8.0 + STONE_HEIGHT
    signs = _SIGNS if with_break else _SIGNS[:-1]
    for draw, words in signs:
        needed = STONE_WIDTH + 6 + width(words, _SIZE)
        if x and x + needed > across:
            x, foot = 0.0, foot + _LINE
        elements += draw(round(x, 2), foot)
        elements.append(letter(words, x + STONE_WIDTH + 6, foot - 5, _SIZE))
        x += needed + _GAP
    if x + width(_NOTE, _SIZE) > across:
        x, foot = 0.0, foot + _LINE
    elements.append(letter(_NOTE, x, foot - 5, _SIZE, colour=PALE))
    return Drawn(width=across, height=foot + 2, elements=tuple(elements))
