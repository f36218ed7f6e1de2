"""Where the texts of a drawing lie, computed from its markup alone, for the tests that they keep apart."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from lxml import etree

SVG = "{http://www.w3.org/2000/svg}"
# DejaVu Sans Mono, from its tables hmtx and hhea by way of its published metrics (from memory): advance 1233,
# highest lower-case stem 1556, lowest descender 483, of 2048 units.
ADVANCE, ASCENT, DESCENT = 1233 / 2048, 1556 / 2048, 483 / 2048


@dataclass(frozen=True, slots=True, kw_only=True)
class Lettered:
    """One text and its box."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def letters(drawing: str) -> tuple[list[Lettered], float, float]:
    """All texts of an SVG document, and its width and height. Every text must be of characters one column wide."""
    root = etree.fromstring(drawing.encode(), etree.XMLParser(resolve_entities=False))
    across, high = map(float, root.attrib["viewBox"].split()[2:])
    return list(_below(root, 0.0, 0.0)), across, high


def _below(element: etree._Element, x: float, y: float) -> Iterator[Lettered]:
    transform = element.attrib.get("transform", "")
    if element.tag == f"{SVG}g" and transform:
        dx, dy = transform.removeprefix("translate(").removesuffix(")").replace(",", " ").split()
        x, y = x + float(dx), y + float(dy)
    if element.tag == f"{SVG}text":
        yield _box(element, x, y)
    for child in element:
        yield from _below(child, x, y)


def _box(element: etree._Element, x: float, y: float) -> Lettered:
    text = element.text or ""
    size = float(element.attrib["font-size"])
    across = len(text) * ADVANCE * size
    left = x + float(element.attrib["x"])
    left -= {"middle": across / 2, "end": across}.get(element.attrib.get("text-anchor", ""), 0)
    base = y + float(element.attrib["y"])
    return Lettered(
        text=text, left=left, right=left + across, top=base - ASCENT * size, bottom=base + DESCENT * size
    )


def overlaps(boxes: list[Lettered]) -> list[tuple[str, str]]:
    """Pairs of texts that touch each other by more than a hundredth of a unit (coordinates are rounded to that)."""
    return [
        (a.text, b.text)
        for a, b in combinations(boxes, 2)
        if min(a.right, b.right) - max(a.left, b.left) > 0.02
        and min(a.bottom, b.bottom) - max(a.top, b.top) > 0.02
    ]


def outside(boxes: list[Lettered], across: float, high: float) -> list[str]:
    """Texts that leave the drawing."""
    return [b.text for b in boxes if b.left < 0 or b.top < 0 or b.right > across or b.bottom > high]
