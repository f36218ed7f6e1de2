"""The plan: racks on the ground line of their sites, room by room; what a failure takes is struck, what restarts has its way.

Layout and links only: what is shown comes as a PlanElevation, racks have a module of their own (plan_rack.py). Below the
ground line run the feeds, then rooms and sites as dimension lines. Lengths are units of the drawing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PAPER, Drawn, box, letter, line, outline, sheet
from staddle.dossier.lettering import shorten, width
from staddle.dossier.plan_elevation import PlanElevation, PlanFeed, PlanRack, PlanSite
from staddle.dossier.plan_links import PlanLinks, cells, linked
from staddle.dossier.plan_rack import (
    SMALL_PITCH,
    WHOLE_PITCH,
    Places,
    PlanScale,
    ident,
    plan_scale,
    small_height,
    small_rack,
    whole_height,
    whole_rack,
)
from staddle.dossier.stone import STONE_HEIGHT

__all__ = ["plan_svg"]

_MARGIN: Final = 14
_MOST_ACROSS: Final = 1240
_SITE_GAP: Final = 40
_ROOM_GAP: Final = 14
_EARTH: Final = 9
_FEED: Final = 16
_SPAN: Final = 22
_LEAST: Final = 150.0  # room for a site's name


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stretch:
    """Racks of one site that stand side by side, all whole or all small."""

    site: PlanSite
    racks: tuple[PlanRack, ...]
    whole: bool
    label: str

    @property
    def pitch(self) -> int:
        return WHOLE_PITCH if self.whole else SMALL_PITCH

    @property
    def rooms(self) -> list[tuple[str, int]]:
        return [(room, len(list(racks))) for room, racks in groupby(self.racks, key=lambda rack: rack.room)]

    @property
    def feeds(self) -> tuple[PlanFeed, ...]:
        names = {rack.name for rack in self.racks}
        return tuple(feed for feed in self.site.feeds if self.whole and names & set(feed.racks))

    @property
    def across(self) -> float:
        racks = len(self.racks) * self.pitch + (len(self.rooms) - 1) * _ROOM_GAP
        # The names of the feeds are written to the right of the last rack.
        label = max((width(feed.name, 10) for feed in self.feeds), default=0)
        return max(_LEAST, racks, racks - self.pitch + 40 + label + 8 * len(self.feeds))

    @property
    def below(self) -> float:
        """How deep it reaches below the ground line."""
        rooms = _SPAN if any(room for room, _ in self.rooms) else 0
        return _EARTH + len(self.feeds) * _FEED + rooms + _SPAN

    def above(self, scale: PlanScale) -> float:
        """How high it stands above the ground line."""
        high = whole_height if self.whole else small_height
        return max((high(rack, scale) for rack in self.racks), default=40)


def plan_svg(plan: PlanElevation, *, cluster: str, says: str, links: PlanLinks) -> str:
    """The plan as an SVG element with links in it. The page's own hatchings are used, and one more of the plan.

    Args: says: the drawing in words.
    """
    return sheet(_drawn(plan, links), title=f"Where {cluster} stands", description=says, with_hatchings=False)


def _drawn(plan: PlanElevation, links: PlanLinks) -> Drawn:
    scale = plan_scale([rack for site in plan.sites for rack in site.racks])
    rows = list(_rows([stretch for site in plan.sites for stretch in _stretches(site, plan.is_large)]))
    across = max([760, *(_across(row) + 2 * _MARGIN for row in rows)])
    places = Places()
    elements: list[svg.Element] = [_coming()]
    y: float = _MARGIN
    for row in rows:
        ground = y + max(stretch.above(scale) for stretch in row)
        x: float = _MARGIN
        for stretch in row:
            elements += _stretch(stretch, x, ground, scale, links, places)
            x += stretch.across + _SITE_GAP
        y = ground + max(stretch.below for stretch in row) + _MARGIN
    elements += _ways(places)
    return Drawn(width=across, height=y, elements=tuple(elements))


def _coming() -> svg.Element:
    """Hatching of what restarts here: upright strokes, unlike what stands here."""
    return svg.Defs(
        elements=[
            svg.Pattern(
                id="hatch-coming",
                width=4,
                height=4,
                patternUnits="userSpaceOnUse",
                elements=[line((2, 0), (2, 4), stroke=ACCENT, thick=1.1)],
            )
        ]
    )


def _across(row: Sequence[_Stretch]) -> float:
    return sum(stretch.across for stretch in row) + (len(row) - 1) * _SITE_GAP


def _rows(stretches: Sequence[_Stretch]) -> Iterator[list[_Stretch]]:
    row: list[_Stretch] = []
    for stretch in stretches:
        # Whole and small racks never share a row: the small ones are a field to look over.
        if row and (
            _across([*row, stretch]) > _MOST_ACROSS - 2 * _MARGIN or row[-1].whole is not stretch.whole
        ):
            yield row
            row = []
        row.append(stretch)
    if row:
        yield row


def _stretches(site: PlanSite, is_large: bool) -> Iterator[_Stretch]:
    opened = tuple(rack for rack in site.racks if rack.whole)
    if not is_large:
        yield from _parts(site, opened, whole=True, label=site.name)
        return
    if opened:
        yield from _parts(site, opened, whole=True, label=f"{site.name}, racks that are open")
    yield from _parts(site, site.racks, whole=False, label=site.name)


def _parts(site: PlanSite, racks: tuple[PlanRack, ...], *, whole: bool, label: str) -> Iterator[_Stretch]:
    most = int((_MOST_ACROSS - 2 * _MARGIN - 4 * _ROOM_GAP) // (WHOLE_PITCH if whole else SMALL_PITCH))
    for start in range(0, max(1, len(racks)), most):
        more = ", continued" if start else ""
        yield _Stretch(site=site, racks=racks[start : start + most], whole=whole, label=label + more)


def _stretch(
    stretch: _Stretch, x: float, ground: float, scale: PlanScale, links: PlanLinks, places: Places
) -> Iterator[svg.Element]:
    right = x + stretch.across
    yield from _earth(x, right, ground)
    lefts: dict[str, float] = {}
    spans: list[tuple[str, float, float]] = []
    at = x
    for room, racks in groupby(stretch.racks, key=lambda rack: rack.room):
        begins = at
        for rack in racks:
            lefts[rack.name] = at
            if stretch.whole:
                yield from whole_rack(rack, at + 3, ground, scale, links, places)
            else:
                yield from small_rack(rack, at + 3, ground, scale, links)
            at += stretch.pitch
        spans.append((room, begins, at - 4))
        at += _ROOM_GAP
    below = ground + _EARTH
    for number, feed in enumerate(stretch.feeds):
        yield from _feed(feed, number, lefts, below, links)
    below += len(stretch.feeds) * _FEED
    if any(room for room, _, _ in spans):
        for room, left, end in spans:
            if room:
                yield from _span(
                    room, "room", left, end, below + _SPAN / 2, links, failed=_all_failed(stretch, room)
                )
        below += _SPAN
    site = stretch.site
    yield from _span(
        stretch.label,
        "site",
        x,
        right,
        below + _SPAN / 2,
        links,
        failed=site.failed,
        name=site.name if site.known else "",
        heavy=True,
    )


def _all_failed(stretch: _Stretch, room: str) -> bool:
    return all(rack.failed for rack in stretch.site.racks if rack.room == room)


def _earth(x: float, right: float, ground: float) -> Iterator[svg.Element]:
    count = int((right - x) // 9)
    yield cells(
        "".join(f"M{x + i * 9:.1f} {ground:.1f}l-6 {_EARTH - 3}" for i in range(1, count + 1)),
        fill="none",
        stroke=INK,
    )
    yield line((x, ground), (right, ground), thick=2.4)


def _feed(
    feed: PlanFeed, number: int, lefts: dict[str, float], top: float, links: PlanLinks
) -> Iterator[svg.Element]:
    y = top + (number + 0.55) * _FEED
    taps = [lefts[name] + 14 + 9 * number for name in feed.racks if name in lefts]
    label_x = max(lefts.values()) + 30 + 9 * number
    ink = ACCENT if feed.failed else INK
    dash = "4 3" if feed.failed else ""
    shapes: list[svg.Element] = [
        box(min(taps), y - 7, label_x + width(feed.name, 10) - min(taps), 14, fill=PAPER, stroke="none"),
        line((min(taps), y), (label_x - 4, y), thick=0.9, stroke=ink, dash=dash),
    ]
    for tap in taps:
        shapes.append(line((tap, top - _EARTH), (tap, y), thick=0.9, stroke=ink, dash=dash))
        shapes.append(svg.Circle(cx=round(tap, 2), cy=round(y, 2), r=2.4, fill=ink))
    shapes.append(letter(feed.name, label_x, y + 3.5, 10, colour=ink, bold=feed.failed))
    does = "is failed; let it stand again" if feed.failed else "fail it"
    says = f"feed {feed.name}: hosts in {', '.join(feed.racks)} hang on it; {does}"
    yield linked(links.fail(feed.name), says, shapes, ident=ident("feed", feed.name))


def _span(
    label: str,
    kind: str,
    left: float,
    right: float,
    y: float,
    links: PlanLinks,
    *,
    failed: bool,
    name: str | None = None,
    heavy: bool = False,
) -> Iterator[svg.Element]:
    """A dimension line with the name in its middle: what fails with a click on the name."""
    ink = ACCENT if failed else INK
    size = 13 if heavy else 11
    for end in (left, right):
        yield line((end, y - 6), (end, y + 6), thick=0.8, stroke=ink)
        yield line((end - 3.5, y + 3.5), (end + 3.5, y - 3.5), thick=1.3, stroke=ink)
    yield line((left, y), (right, y), thick=0.8, stroke=ink)
    text = shorten(label, right - left - 24, size)
    middle, half = (left + right) / 2, width(text, size) / 2 + 6
    shapes: list[svg.Element] = [
        box(middle - half, y - 9, 2 * half, 18, fill=PAPER, stroke="none"),
        letter(text, middle, y + size * 0.35, size, anchor="middle", bold=heavy, colour=ink),
    ]
    name = label if name is None else name
    if not name:
        yield svg.G(elements=shapes)
        return
    does = "is failed; let it stand again" if failed else "fail it"
    mark = "" if label.endswith(("continued", "open")) else ident(kind, name)
    yield linked(links.fail(name), f"{kind} {name}: {does}", shapes, ident=mark)


def _ways(places: Places) -> Iterator[svg.Element]:
    """From where a member is displaced to where it restarts."""
    for member, (x, y) in places.left.items():
        if member not in places.reached:
            continue
        to_x, to_y = places.reached[member]
        y -= STONE_HEIGHT / 2 + 1  # from the cap, so that the name stays readable
        lift = 34 + abs(to_x - x) * 0.06
        aside = 0.0 if abs(to_x - x) > 30 else 46.0
        middle_x, middle_y = (x + to_x) / 2 + aside, min(y, to_y) - (lift if not aside else 0)
        yield outline(
            svg.M(round(x, 1), round(y, 1)),
            svg.Q(round(middle_x, 1), round(middle_y, 1), round(to_x, 1), round(to_y - 15, 1)),
            stroke=ACCENT,
            thick=1.4,
            dash="6 4",
        )
        yield outline(
            svg.M(round(to_x - 4, 1), round(to_y - 23, 1)),
            svg.l(4, 8),
            svg.l(4, -8),
            stroke=ACCENT,
            thick=1.4,
        )
