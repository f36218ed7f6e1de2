"""The placement drawing: racks standing on the ground line of their sites, pools as drums, feeds below ground.

Layout only: what is shown comes as an Elevation; signs, hatchings and lettering have modules of their own.
Lengths are units of the drawing; an A4 sheet in landscape shows about 1200 of them across.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

import svg

from staddle.dossier.drum import DRUM_BLOCK_HEIGHT, DRUM_WIDTH, drum
from staddle.dossier.elevation import (
    Elevation,
    FeedElevation,
    PoolElevation,
    RackElevation,
    SiteElevation,
    fitted,
)
from staddle.dossier.ink import INK, PALE, Drawn, letter, line, moved, outline, sheet, titled
from staddle.dossier.legend import legend
from staddle.dossier.lettering import shorten
from staddle.dossier.rack import RACK_WIDTH, RackScale, is_broken, rack, rack_height, scale_for

__all__ = ["draw_placement", "placement_sentence", "placement_svg"]

_MARGIN: Final = 16
_MOST_ACROSS: Final = 1240
_RACK_GAP: Final = 10
_SITE_GAP: Final = 36
_FEED_PITCH: Final = 17
_EARTH: Final = 9
_NAME_ROOM: Final = 24
_NOTE_ROOM: Final = 15
_LEGEND_GAP: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stretch:
    """A stretch of ground: racks from the left, then columns of drums. ``name`` is what is written below it."""

    name: str
    note: str
    racks: tuple[RackElevation, ...]
    drums: tuple[tuple[PoolElevation, ...], ...]
    feeds: tuple[FeedElevation, ...]

    @property
    def across(self) -> float:
        columns = max(1, len(self.drums))  # the labels of feeds need the room of one column at least
        return len(self.racks) * (RACK_WIDTH + _RACK_GAP) + columns * DRUM_WIDTH

    @property
    def feeds_under(self) -> float:
        """How deep the feeds reach below the ground line."""
        return _EARTH + len(self.feeds) * _FEED_PITCH

    def above(self, scale: RackScale) -> float:
        """How high it stands above the ground line."""
        racks = [rack_height(one, scale) for one in self.racks]
        drums = [len(column) * DRUM_BLOCK_HEIGHT for column in self.drums]
        return max([60, *racks, *drums])


def placement_svg(elevation: Elevation, *, cluster: str, with_hatchings: bool = True) -> str:
    """The placement drawing as an SVG document. Same elevation, same bytes.

    What an A4 sheet cannot show is left out and counted (elevation.fitted); members are always drawn.
    """
    return sheet(
        draw_placement(elevation),
        title=f"Where the members of {cluster} stand",
        description=placement_sentence(elevation),
        with_hatchings=with_hatchings,
    )


def placement_sentence(elevation: Elevation) -> str:
    """The placement in words: every member with its host, rack and site."""
    seats = [
        f"{member.member} on host {host.name} in {one.name} at {site.name}"
        for site in elevation.sites
        for one in site.racks
        for host in one.hosts
        for member in host.members
    ]
    return ("; ".join(seats) + ".") if seats else "No member has been placed."


def draw_placement(elevation: Elevation) -> Drawn:
    """The shapes of the drawing, with its legend."""
    shown = fitted(elevation)
    scale = scale_for([one for site in shown.sites for one in site.racks])
    rows = list(_rows([stretch for site in shown.sites for stretch in _stretches(site)]))
    across = max(
        [760, *(sum(s.across for s in row) + (len(row) - 1) * _SITE_GAP + 2 * _MARGIN for row in rows)]
    )
    hosts = [host for site in shown.sites for one in site.racks for host in one.hosts]
    elements: list[svg.Element] = []
    y: float = 0
    for row in rows:
        ground = y + _MARGIN + max(stretch.above(scale) for stretch in row)
        names = ground + max(stretch.feeds_under for stretch in row)
        x: float = _MARGIN
        for stretch in row:
            shapes = [*_stretch(stretch, x, ground, scale), *_names(stretch, x, names)]
            elements.append(titled(f"site {stretch.name}", shapes))
            x += stretch.across + _SITE_GAP
        y = names + _NAME_ROOM + _NOTE_ROOM * any(stretch.note for stretch in row)
    signs = legend(across - 2 * _MARGIN, with_break=any(is_broken(host, scale) for host in hosts))
    elements.append(moved(signs.elements, _MARGIN, y + _LEGEND_GAP))
    return Drawn(width=across, height=y + _LEGEND_GAP + signs.height + _MARGIN, elements=tuple(elements))


def _rows(stretches: Sequence[_Stretch]) -> Iterator[list[_Stretch]]:
    row: list[_Stretch] = []
    taken: float = 2 * _MARGIN
    for stretch in stretches:
        if row and taken + stretch.across > _MOST_ACROSS:
            yield row
            row, taken = [], 2 * _MARGIN
        row.append(stretch)
        taken += stretch.across + _SITE_GAP
    if row:
        yield row


def _stretches(site: SiteElevation) -> Iterator[_Stretch]:
    """The site on one stretch, or on several where one would be too long; pools stand on the last one."""
    columns = _drum_columns(site)
    most = max(
        1, int((_MOST_ACROSS - 2 * _MARGIN - max(1, len(columns)) * DRUM_WIDTH) // (RACK_WIDTH + _RACK_GAP))
    )
    parts = [site.racks[i : i + most] for i in range(0, len(site.racks), most)] or [()]
    for number, racks in enumerate(parts):
        last = number == len(parts) - 1
        names = {one.name for one in racks}
        feeds = (replace(feed, racks=tuple(r for r in feed.racks if r in names)) for feed in site.feeds)
        yield _Stretch(
            name=site.name + (", continued" if number else ""),
            note=_left_out(site) if last else "",
            racks=racks,
            drums=columns if last else (),
            feeds=tuple(feed for feed in feeds if feed.racks),
        )


def _left_out(site: SiteElevation) -> str:
    counted = [
        f"{count} more {noun}{'s' * (count > 1)}"
        for count, noun in ((site.further_racks, "rack"), (site.further_pools, "pool"))
        if count
    ]
    return "not drawn: " + ", ".join(counted) if counted else ""


def _drum_columns(site: SiteElevation) -> tuple[tuple[PoolElevation, ...], ...]:
    """Pools in columns of two: as high as the racks of a usual estate."""
    return tuple(site.pools[i : i + 2] for i in range(0, len(site.pools), 2))


def _stretch(stretch: _Stretch, x: float, ground: float, scale: RackScale) -> Iterator[svg.Element]:
    right = x + stretch.across
    yield from _earth(x, right, ground)
    lefts = {}
    at = x + _RACK_GAP / 2
    for one in stretch.racks:
        lefts[one.name] = at
        yield rack(one, at, ground, scale)
        at += RACK_WIDTH + _RACK_GAP
    for column in stretch.drums:
        for position, pool in enumerate(column):
            foot = ground - position * DRUM_BLOCK_HEIGHT
            if position:
                yield line((at, foot), (at + DRUM_WIDTH - 6, foot), thick=1)
            yield drum(pool, at, foot)
        at += DRUM_WIDTH
    yield from _feeds(stretch.feeds, lefts, right, ground + _EARTH)


def _names(stretch: _Stretch, x: float, top: float) -> Iterator[svg.Element]:
    yield letter(shorten(stretch.name, stretch.across, 15), x, top + 19, 15, bold=True)
    if stretch.note:
        yield letter(shorten(stretch.note, stretch.across, 10), x, top + 19 + _NOTE_ROOM, 10, colour=PALE)


def _earth(x: float, right: float, ground: float) -> Iterator[svg.Element]:
    count = math.floor((right - x) / 9)
    strokes = [
        part
        for i in range(1, count + 1)
        for part in (svg.M(x + i * 9, ground), svg.L(x + i * 9 - 6, ground + _EARTH - 3))
    ]
    yield outline(*strokes, thick=0.7)
    yield line((x, ground), (right, ground), thick=2.4)


def _feeds(
    feeds: Sequence[FeedElevation], lefts: dict[str, float], right: float, top: float
) -> Iterator[svg.Element]:
    if not feeds:
        return
    pitch = min(11, 66 / len(feeds))
    label_x = max(lefts.values()) + 12 + pitch * len(feeds) + 4
    for number, feed in enumerate(feeds):
        y = top + (number + 0.6) * _FEED_PITCH
        taps = [lefts[name] + 12 + pitch * number for name in feed.racks]
        shapes: list[svg.Element] = [line((min(taps), y), (label_x - 4, y), thick=0.9)]
        for tap in taps:
            shapes.append(line((tap, top - _EARTH), (tap, y), thick=0.9))
            shapes.append(svg.Circle(cx=round(tap, 2), cy=round(y, 2), r=2.2, fill=INK))
        shapes.append(letter(shorten(feed.name, right - label_x, 10), label_x, y + 3.5, 10))
        yield titled(f"power feed {feed.name}, on which {', '.join(feed.racks)} hang", shapes)
