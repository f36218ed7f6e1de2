"""Lettering of the drawings: how wide a text is, how it is shortened, how it is made safe. No shapes in here.

All drawings are lettered in one face of fixed width, so that widths are known without reading a font file.
The drawing library writes text as it is given; ``written`` is therefore the only way a text may enter a drawing.
"""

import math
import unicodedata
from typing import Final
from xml.sax.saxutils import escape

__all__ = ["FACES", "clean", "fits", "shorten", "width", "written"]

FACES: Final = "DejaVu Sans Mono, monospace"
_ADVANCE_EM: Final = (
    0.6021  # DejaVu Sans Mono: 1233 of 2048 units (its hmtx table); common fallbacks are narrower
)
_STRUCTURE: Final = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}


def clean(text: str) -> str:
    """The text on one line: characters that steer a terminal, hide or turn text become visible as \\u{…}.

    Sources: XML 1.0 §2.2 (what a document may hold), Unicode TR 36 §2.5 (text that turns direction).
    """
    if text.isascii() and text.isprintable():  # nothing of that is in most names, and pages hold thousands
        return text
    return "".join(_shown(c) for c in text)


def _shown(character: str) -> str:
    if unicodedata.category(character) in _STRUCTURE:
        return " " if character in "\n\r\t" else f"\\u{{{ord(character):x}}}"
    return character


def written(text: str) -> str:
    """The text as a drawing may hold it, in an element or in an attribute."""
    return escape(clean(text), {'"': "&quot;", "'": "&#39;"})


def _columns(character: str) -> float:
    if unicodedata.combining(character):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def width(text: str, size: float) -> float:
    """The width of a line in units of the drawing."""
    return sum(map(_columns, clean(text))) * _ADVANCE_EM * size


def fits(room: float, size: float) -> int:
    """How many characters fit into that room. Never below 0."""
    return max(0, math.floor(room / (_ADVANCE_EM * size)))


def shorten(text: str, room: float, size: float) -> str:
    """The text, or its two ends with … between them; the end is kept, since names of one family differ there."""
    text = clean(text)
    if width(text, size) <= room:
        return text
    for kept in range(min(len(text) - 1, fits(room, size) - 1), 0, -1):
        tail = kept // 2
        short = text[: kept - tail] + "…" + (text[-tail:] if tail else "")
        if width(short, size) <= room:
            return short
    return "…" if fits(room, size) else ""
