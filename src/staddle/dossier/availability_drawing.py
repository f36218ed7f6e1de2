"""Availability as bars on one scale of minutes a year: three clusters, the causes of outages, what improvements take away.

The scale is logarithmic, since causes differ by thousands; each decade has its line. A bar runs from the optimistic end of
the rates to the pessimistic one; where it begins left of the scale it stays open there. Layout only: the sums and their words
come from survival.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PALE, Drawn, box, letter, line, sheet, titled
from staddle.dossier.lettering import shorten, width
from staddle.survival.availability import Availability
from staddle.survival.wording import down_text, minutes_text, share_sentence

__all__ = ["availability_sentence", "availability_svg", "draw_availability"]

_MARGIN: Final = 16.0
_ACROSS: Final = 1040.0
_WORDS: Final = 430.0
_FIGURES: Final = 118.0
_PITCH: Final = 22.0
_BAR: Final = 12.0
_MOST_ROWS: Final = 8
_LOWEST_MIN: Final = 0.01  # what is less is drawn as if it were nothing
_LETTER: Final = 11.0
_NOTE: Final = "Rates are ranges with their origin told beside them: the bars compare, they promise nothing. This is advice."


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """One bar, in minutes a year."""

    words: str
    low: float
    high: float
    fill: str
    attention: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Scale:
    """From minutes a year to a place on the paper; whole decades."""

    first: int
    last: int
    left: float
    right: float

    def at(self, minutes: float) -> float:
        if minutes <= 0:
            return self.left
        along = (math.log10(minutes) - self.first) / (self.last - self.first)
        return self.left + (self.right - self.left) * min(1.0, max(0.0, along))


def availability_svg(found: Availability, *, cluster: str, with_hatchings: bool = True) -> str:
    """The bars as an SVG document. Same answer, same bytes."""
    return sheet(
        draw_availability(found),
        title=f"What takes {cluster} down, and what helps",
        description=availability_sentence(found),
        with_hatchings=with_hatchings,
    )


def availability_sentence(found: Availability) -> str:
    """The drawing in words: the range, the largest cause, the best improvement."""
    said = [f"As placed: {share_sentence(found.share)}."]
    if found.causes:
        worst = found.causes[0]
        said.append(f"Largest cause: {worst.what}, {_span(worst.minutes_low, worst.minutes_high)} a year.")
    helping = [one for one in found.improvements if one.minutes_high > 0]
    if helping:
        best = helping[0]
        said.append(
            f"What helps most: {best.what}, {_span(best.minutes_low, best.minutes_high)} a year less."
        )
    return " ".join(said)


def draw_availability(found: Availability) -> Drawn:
    """The shapes, from the upper edge of the first block to the note."""
    blocks = [
        ("Down in a year", [row for row in _clusters(found) if row.high > 0]),
        ("Causes: gone without it", list(_causes(found))),
        ("Improvements: what each takes away by itself", list(_improvements(found))),
    ]
    blocks = [(title, rows) for title, rows in blocks if rows]
    ends = [end for _, rows in blocks for row in rows for end in (row.low, row.high) if end >= _LOWEST_MIN]
    scale = _Scale(
        first=math.floor(math.log10(min(ends, default=1))),
        last=math.ceil(math.log10(max(ends, default=10)) + 1e-9) or 1,
        left=_MARGIN + _WORDS,
        right=_ACROSS - _MARGIN - _FIGURES,
    )
    top = _MARGIN + 34
    elements: list[svg.Element] = []
    y = top
    for title, rows in blocks:
        y += 20
        elements.append(letter(title, _MARGIN, y, 12, bold=True))
        y += 8
        for row in rows:
            elements.append(
                titled(f"{row.words}: {_span(row.low, row.high)} a year", list(_bar(row, y, scale)))
            )
            y += _PITCH
        y += 4
    grid = list(_grid(scale, top, y))
    foot = y + 24
    elements.append(letter(_NOTE, _MARGIN, foot, 10, colour=PALE))
    return Drawn(width=_ACROSS, height=foot + _MARGIN, elements=(*grid, *elements))


def _clusters(found: Availability) -> Iterator[_Row]:
    for words, share, fill in (
        ("as placed", found.share, ACCENT),
        ("all members on one host", found.on_one_host, "used"),
        ("as far apart as the estate allows", found.apart, "used"),
    ):
        low, high = share.minutes
        yield _Row(words=words, low=low, high=high, fill=fill)


def _causes(found: Availability) -> Iterator[_Row]:
    rows = [one for one in found.causes if one.minutes_high >= _LOWEST_MIN][:_MOST_ROWS]
    for number, one in enumerate(rows):
        yield _Row(
            words=one.what,
            low=one.minutes_low,
            high=one.minutes_high,
            fill="bad" if number == 0 else "used",
            attention=number == 0,
        )


def _improvements(found: Availability) -> Iterator[_Row]:
    rows = [one for one in found.improvements if one.minutes_high >= _LOWEST_MIN and one.minutes_low >= 0]
    for one in rows[:_MOST_ROWS]:
        yield _Row(words=one.what, low=one.minutes_low, high=one.minutes_high, fill="kept")


def _bar(row: _Row, y: float, scale: _Scale) -> Iterator[svg.Element]:
    colour = ACCENT if row.attention else INK
    yield letter(shorten(row.words, _WORDS - 14, _LETTER), _MARGIN, y + _BAR - 1, _LETTER, colour=colour)
    left, right = scale.at(row.low), scale.at(row.high)
    open_left = row.low < 10**scale.first
    across = max(right - left, 2.0)  # to be seen even where both ends are one
    yield box(left, y, across, _BAR, fill=row.fill, stroke="none", thick=0)
    yield line((left, y), (left + across, y), stroke=colour)
    yield line((left, y + _BAR), (left + across, y + _BAR), stroke=colour)
    yield line((left + across, y), (left + across, y + _BAR), stroke=colour, thick=1.6)
    if not open_left:
        yield line((left, y), (left, y + _BAR), stroke=colour, thick=1.6)
    span = shorten(_span(row.low, row.high), _FIGURES - 8, _LETTER)
    yield letter(span, _ACROSS - _MARGIN, y + _BAR - 1, _LETTER, anchor="end", colour=colour)


def _grid(scale: _Scale, top: float, foot: float) -> Iterator[svg.Element]:
    yield letter("down in a year, on a logarithmic scale", _MARGIN, top - 6, 10, colour=PALE)
    for decade in range(scale.first, scale.last + 1):
        x = scale.at(10.0**decade)
        yield line((x, top), (x, foot), thick=0.3, stroke=PALE)
        text = _tick(decade)
        if decade < scale.last or x + width(text, 10) / 2 < _ACROSS - _MARGIN:
            yield letter(text, x, top - 6, 10, anchor="middle", colour=PALE)
    yield line((scale.left, top), (scale.right, top), thick=1)


def _tick(decade: int) -> str:
    minutes = 10.0**decade
    return f"{minutes * 60:g} s" if minutes < 1 else f"{minutes:.0f} min"


def _span(low: float, high: float) -> str:
    """Two spans with one unit where they share it."""
    if minutes_text(low) == minutes_text(high):
        return down_text(high)
    first, second = down_text(max(low, 0.0)), down_text(high)
    if low <= 0 or first.split(" ")[-1] == second.split(" ")[-1]:
        first = first.split(" ")[0]
    return f"{first} to {second}"
