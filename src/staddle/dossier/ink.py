"""Ink on paper: the colours, hatchings and strokes that all drawings share, and short ways to draw with them."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

import svg

from staddle.dossier.lettering import FACES, written

__all__ = [
    "ACCENT",
    "INK",
    "PALE",
    "PAPER",
    "Drawn",
    "box",
    "hatchings_only",
    "letter",
    "line",
    "moved",
    "outline",
    "sheet",
    "titled",
]

INK: Final = "#1f2933"
PALE: Final = "#59626e"  # for small print; 6 : 1 on the paper, above the 4.5 : 1 of WCAG 2.2 §1.4.3
PAPER: Final = "#ffffff"  # white, so that a printer lays down ink only
ACCENT: Final = "#a63d17"  # the one colour: our members, and what needs attention; 6 : 1 as well

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
_HATCHINGS: Final = ("used", "kept", "ours", "bad")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """Shapes and the room that they take, from (0, 0)."""

    width: float
    height: float
    elements: tuple[svg.Element, ...]


def _round(number: float) -> float | int:
    rounded = round(number, 2)
    return int(rounded) if rounded == int(rounded) else rounded


def _dashes(dash: str) -> list[Decimal | float | int] | None:
    return [int(part) for part in dash.split()] or None


def _fill(fill: str) -> str:
    return f"url(#hatch-{fill})" if fill in _HATCHINGS else fill


def letter(
    text: str,
    x: float,
    y: float,
    size: float = 11,
    *,
    anchor: Anchor = "start",
    colour: str = INK,
    bold: bool = False,
) -> svg.Text:
    """One line of text on the base line y."""
    return svg.Text(
        text=written(text),
        x=_round(x),
        y=_round(y),
        font_size=_round(size),
        text_anchor=None if anchor == "start" else anchor,
        fill=colour,
        font_weight="bold" if bold else None,
    )


def box(
    x: float,
    y: float,
    across: float,
    high: float,
    *,
    fill: str = "none",
    stroke: str = INK,
    thick: float = 1,
    dash: str = "",
) -> svg.Rect:
    """A rectangle from its upper left corner. ``fill`` is a colour or a hatching."""
    return svg.Rect(
        x=_round(x),
        y=_round(y),
        width=_round(max(across, 0)),
        height=_round(max(high, 0)),
        fill=_fill(fill),
        stroke=stroke,
        stroke_width=_round(thick),
        stroke_dasharray=_dashes(dash),
    )


def line(start: Point, end: Point, *, thick: float = 1, dash: str = "", stroke: str = INK) -> svg.Line:
    """A straight line."""
    return svg.Line(
        x1=_round(start[0]),
        y1=_round(start[1]),
        x2=_round(end[0]),
        y2=_round(end[1]),
        stroke=stroke,
        stroke_width=_round(thick),
        stroke_dasharray=_dashes(dash),
    )


def outline(
    *commands: svg.PathData, fill: str = "none", stroke: str = INK, thick: float = 1, dash: str = ""
) -> svg.Path:
    """A path."""
    return svg.Path(
        d=[_short(command) for command in commands],
        fill=_fill(fill),
        stroke=stroke,
        stroke_width=_round(thick),
        stroke_linejoin="round",
        stroke_dasharray=_dashes(dash),
    )


def _short(command: svg.PathData) -> svg.PathData:
    for name, value in vars(command).items():
        if isinstance(value, float):
            setattr(command, name, _round(value))
    return command


def titled(title: str, elements: Sequence[svg.Element]) -> svg.Element:
    """Shapes that are one thing, with the sentence that a screen reader says and a pointer shows."""
    return svg.G(elements=[svg.Title(text=written(title)), *elements], extra={"role": "img"})


def moved(elements: Sequence[svg.Element], x: float, y: float) -> svg.Element:
    """The same shapes at another place."""
    return svg.G(transform=[svg.Translate(_round(x), _round(y))], elements=list(elements))


def _hatchings() -> svg.Defs:
    def lined(
        name: str, pitch: float, turn: float, stroke: str, thick: float, both: bool = False
    ) -> svg.Pattern:
        # The line runs in the middle of the tile: on its edge one renderer draws it half as thick as another.
        middle = pitch / 2
        lines: list[svg.Element] = [line((0, middle), (pitch, middle), stroke=stroke, thick=thick)]
        if both:
            lines.append(line((middle, 0), (middle, pitch), stroke=stroke, thick=thick))
        return svg.Pattern(
            id=f"hatch-{name}",
            width=pitch,
            height=pitch,
            patternUnits="userSpaceOnUse",
            patternTransform=[svg.Rotate(turn)],
            elements=lines,
        )

    return svg.Defs(
        elements=[
            lined("used", 5, -45, INK, 0.7),
            lined("kept", 4, 45, INK, 0.6, both=True),
            lined("ours", 3, -45, ACCENT, 1.2),
            lined("bad", 6, 45, ACCENT, 1.1),
        ]
    )


def hatchings_only() -> str:
    """The hatchings as a drawing of no size: a page that holds several drawings defines them once."""
    return svg.SVG(width=0, height=0, elements=[_hatchings()], extra={"aria-hidden": "true"}).as_str()


def sheet(drawn: Drawn, *, title: str, description: str, with_hatchings: bool = True) -> str:
    """The drawing as a document of its own. Same shapes, same bytes."""
    paper = box(0, 0, drawn.width, drawn.height, fill=PAPER, stroke="none", thick=0)
    head: list[svg.Element] = [svg.Title(text=written(title)), svg.Desc(text=written(description))]
    if with_hatchings:
        head.append(_hatchings())
    return svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, _round(drawn.width), _round(drawn.height)),
        elements=[*head, paper, *drawn.elements],
        # WAI-ARIA Graphics Module 1.0 §4.1: a document whose parts can be visited one by one.
        extra={"role": "graphics-document", "aria-label": written(title), "font-family": FACES},
    ).as_str()
