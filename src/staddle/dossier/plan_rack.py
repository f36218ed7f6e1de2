"""One rack of the plan: whole, host by host with the members in it, or small, as one column of bars."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PALE, PAPER, box, letter, line
from staddle.dossier.lettering import shorten, width
from staddle.dossier.plan_elevation import PlanHost, PlanRack, PlanStone
from staddle.dossier.plan_links import PlanLinks, Ready, cells, linked
from staddle.dossier.stone import STONE_HEIGHT, STONE_WIDTH, role_of, stone
from staddle.kernel import format_binary

__all__ = [
    "SMALL_PITCH",
    "WHOLE_PITCH",
    "Places",
    "PlanScale",
    "ident",
    "plan_scale",
    "small_height",
    "small_rack",
    "whole_height",
    "whole_rack",
]

WHOLE_PITCH: Final = 134
SMALL_PITCH: Final = 39
_WIDE: Final = 124
_SLIM: Final = 33
_INSET: Final = 4
_HEAD: Final = 20
_FOOT: Final = 7
_PLATE: Final = 16
_GAUGE: Final = 24
_STONE_ROOM: Final = 31
_TEXT_ROOM: Final = 17
_TALLEST: Final = 300
_TALLEST_SMALL: Final = 9.0
_GIB: Final = 1024**3


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanScale:
    """How high a byte of memory is drawn, in whole racks and in small ones."""

    whole: float
    small: float


class Places:
    """Where on the paper members are displaced from and restart: (x, y) of the middle of their stones."""

    def __init__(self) -> None:
        self.left: dict[str, tuple[float, float]] = {}
        self.reached: dict[str, tuple[float, float]] = {}


def plan_scale(racks: Sequence[PlanRack]) -> PlanScale:
    """One scale for all whole racks, and one for all small ones."""
    whole = max((sum(h.memory_bytes for h in rack.hosts) for rack in racks if rack.whole), default=0)
    host = max((h.memory_bytes for rack in racks for h in rack.hosts), default=0)
    return PlanScale(whole=_TALLEST / whole if whole else 0.0, small=_TALLEST_SMALL / host if host else 0.0)


def ident(kind: str, name: str) -> str:
    """An id for one part of the plan."""
    return f"plan-{kind}-{sha256(name.encode()).hexdigest()[:10]}"


def _body(host: PlanHost, scale: PlanScale) -> float:
    return max(_TEXT_ROOM + len(host.stones) * _STONE_ROOM, host.memory_bytes * scale.whole)


def whole_height(rack: PlanRack, scale: PlanScale) -> float:
    """From the ground line to the top of a whole rack."""
    return _HEAD + sum(_PLATE + _body(host, scale) + _INSET for host in rack.hosts) + _FOOT


def whole_rack(
    rack: PlanRack, x: float, ground: float, scale: PlanScale, links: PlanLinks, places: Places
) -> Iterator[svg.Element]:
    """The rack with its left edge at ``x``, standing on ``ground``; its head fails it, each host fails that one."""
    top = ground - whole_height(rack, scale)
    ink = ACCENT if rack.failed else INK
    yield box(x, top, _WIDE, ground - _FOOT - top, fill=PAPER, thick=1.4, stroke=ink)
    for foot in (x + 8, x + _WIDE - 16):
        yield box(foot, ground - _FOOT, 8, _FOOT, fill=PAPER, stroke=ink)
    name = letter(
        shorten(rack.name, _WIDE - 8, 11), x + _WIDE / 2, top + 14, 11, anchor="middle", bold=True, colour=ink
    )
    if rack.known:
        head = box(x + 1, top + 1, _WIDE - 2, _HEAD - 3, fill=PAPER, stroke="none")
        yield linked(links.fail(rack.name), _rack_says(rack), [head, name], ident=ident("whole", rack.name))
    else:
        yield name
    y = top + _HEAD
    for host in rack.hosts:
        yield from _host(host, x + _INSET, y, scale, links, places)
        y += _PLATE + _body(host, scale) + _INSET


def _rack_says(rack: PlanRack) -> str:
    does = "is failed; let it stand again" if rack.failed else f"{len(rack.hosts)} hosts; fail it"
    return f"rack {rack.name}: {does}"


def _host(
    host: PlanHost, x: float, y: float, scale: PlanScale, links: PlanLinks, places: Places
) -> Iterator[svg.Element]:
    across, body = _WIDE - 2 * _INSET, _body(host, scale)
    top, foot = y + _PLATE, y + _PLATE + body
    ink = ACCENT if host.failed else INK
    shapes: list[svg.Element] = [
        box(x, y, across, _PLATE + body, fill=PAPER, stroke=ink, dash="5 3" if host.failed else ""),
        letter(
            shorten(host.name, across - 8, 11),
            x + 4,
            y + 12,
            11,
            bold=any(one.state in ("stands", "restarts") for one in host.stones),
            colour=ink,
        ),
        line((x, top), (x + across, top), thick=0.6, stroke=ink),
    ]
    if host.failed:
        shapes.append(box(x, top, across, body, fill="bad", stroke="none"))
        word = "failed"
        room = width(word, 10) + 6
        shapes.append(box(x + across - room - 2, foot - _TEXT_ROOM + 2, room, 13, fill=PAPER, stroke="none"))
    else:
        shapes.append(line((x + _GAUGE, top), (x + _GAUGE, foot), thick=0.6))
        shapes += _gauge(host, x, foot, body)
        word = _amounts(host, across - _GAUGE - 8)
    shapes.append(
        letter(word, x + across - 4, foot - 4.5, 10, anchor="end", colour=ink if host.failed else PALE)
    )
    yield linked(
        links.fail(host.name),
        _host_says(host),
        shapes,
        ident=ident("host", host.name),
        data=("host", host.name),
    )
    for number, one in enumerate(host.stones):
        yield from _stone(
            one, x + _GAUGE + 4, foot - _TEXT_ROOM - number * _STONE_ROOM, across, links, places
        )


def _stone(
    one: PlanStone, left: float, stands: float, across: float, links: PlanLinks, places: Places
) -> Iterator[svg.Element]:
    member, role = one.stone.member, role_of(one.stone)
    gone = one.state in ("displaced", "lost")
    middle = (left + STONE_WIDTH / 2, stands - STONE_HEIGHT / 2)
    room = across - _GAUGE - 4 - STONE_WIDTH - 4 - 2
    text_x = left + STONE_WIDTH + 4
    word = role if one.state == "stands" else one.state
    shapes: list[svg.Element] = []
    if gone:
        places.left[member] = middle
        shapes.append(
            box(
                left - 2,
                stands - STONE_HEIGHT - 1,
                across - _GAUGE - 4,
                STONE_HEIGHT + 2,
                fill=PAPER,
                stroke="none",
            )
        )
    elif one.state == "restarts":
        places.reached[member] = middle
    shapes += stone("no data" if gone else role, left, stands)
    if one.state == "lost":
        for a, b in ((0, STONE_HEIGHT), (STONE_HEIGHT, 0)):
            shapes.append(
                line(
                    (left, stands - STONE_HEIGHT + a),
                    (left + STONE_WIDTH, stands - STONE_HEIGHT + b),
                    stroke=ACCENT,
                    thick=1.4,
                )
            )
    shapes += [
        letter(shorten(member, room, 11), text_x, stands - 13, 11, colour=ACCENT, bold=not gone),
        letter(shorten(word, room, 10), text_x, stands - 2, 10, colour=ACCENT),
    ]
    if one.state == "stands":
        says = f"member {member}, {role}, {format_binary(one.stone.memory_bytes)}: move it"
        yield linked(links.take(member), says, shapes, ident=ident("member", member), data=("member", member))
    else:
        yield svg.G(elements=shapes)


def _gauge(host: PlanHost, x: float, foot: float, body: float) -> Iterator[svg.Element]:
    """The part that is taken, from below: what the host keeps, what others have, what restarts here, what is ours."""
    per_byte = body / host.memory_bytes if host.memory_bytes else 0
    level = foot
    for taken, fill in (
        (host.reserved_bytes, "kept"),
        (host.used_bytes, "used"),
        (host.coming_bytes, "url(#hatch-coming)"),
        (host.ours_bytes, ACCENT),
    ):
        high = min(taken * per_byte, level - (foot - body))
        if taken and fill == ACCENT:
            high = max(high, 2.5)
        if high > 0:
            yield box(x, level - high, _GAUGE, high, fill=fill, thick=0.6)
            level -= high


def _taken(host: PlanHost) -> int:
    return host.reserved_bytes + host.used_bytes + host.coming_bytes + host.ours_bytes


def _amounts(host: PlanHost, room: float) -> str:
    in_gib = f"{math.ceil(_taken(host) / _GIB)}/{host.memory_bytes // _GIB} GiB"
    tenths = 1024 * _GIB / 10  # of a TiB
    in_tib = f"{math.ceil(_taken(host) / tenths) / 10:g}/{math.floor(host.memory_bytes / tenths) / 10:g} TiB"
    return in_gib if width(in_gib, 10) <= room else shorten(in_tib, room, 10)


def _host_says(host: PlanHost) -> str:
    if host.failed:
        return f"host {host.name}: is failed; let it stand again"
    free = max(0, host.memory_bytes - _taken(host))
    coming = f", {format_binary(host.coming_bytes)} restart here" if host.coming_bytes else ""
    return f"host {host.name}: {format_binary(free)} of {format_binary(host.memory_bytes)} memory free{coming}; fail it"


def small_height(rack: PlanRack, scale: PlanScale) -> float:
    """From the ground line to the top of a small rack, its name above it included."""
    return 13 + 4 + sum(_bar(host, scale) + 2 for host in rack.hosts) + 4


def _bar(host: PlanHost, scale: PlanScale) -> float:
    return max(3.0, round(host.memory_bytes * scale.small, 1))


def small_rack(
    rack: PlanRack, x: float, ground: float, scale: PlanScale, links: PlanLinks
) -> Iterator[svg.Element]:
    """The rack as a column of bars: its name fails it, its body opens it. All bars of one kind are one path."""
    top = ground - small_height(rack, scale) + 13
    ink = ACCENT if rack.failed else INK
    yield linked(
        links.open(rack.name),
        f"rack {rack.name}: {_share(rack)}; {'it is open, close it' if rack.whole else 'open it'}",
        [Ready(text=_small_shapes(rack, x, ground, scale))],
        ident=ident("open", rack.name),
    )
    name = letter(shorten(rack.name, SMALL_PITCH, 9), x + _SLIM / 2, top - 4, 9, anchor="middle", colour=ink)
    if rack.known:
        under = box(x - 2, top - 13, _SLIM + 4, 12, fill=PAPER, stroke="none")
        yield linked(links.fail(rack.name), _rack_says(rack), [under, name], ident=ident("rack", rack.name))
    else:
        yield name


@lru_cache(maxsize=4096)
def _small_shapes(rack: PlanRack, x: float, ground: float, scale: PlanScale) -> str:
    """The bars as text. Most racks are the same from one question to the next."""
    top = ground - small_height(rack, scale) + 13
    across = _SLIM - 6
    rooms: list[str] = []
    used: list[str] = []
    coming: list[str] = []
    ours: list[str] = []
    failed: list[str] = []
    y = top + 3
    for host in rack.hosts:
        high = _bar(host, scale)
        left = x + 3
        if host.failed:
            failed.append(_cell(left, y, across, high))
        else:
            rooms.append(_cell(left, y, across, high))
            for paths, taken in (
                (used, host.reserved_bytes + host.used_bytes),
                (coming, host.coming_bytes),
                (ours, host.ours_bytes),
            ):
                wide = across * taken / host.memory_bytes if host.memory_bytes else 0
                wide = min(max(wide, 1.5) if taken and paths is ours else wide, x + 3 + across - left)
                if wide > 0:
                    paths.append(_cell(left, y, wide, high))
                    left += wide
        y += high + 2
    ink = ACCENT if rack.failed else INK
    shapes: list[svg.Element] = [box(x, top, _SLIM, ground - top, fill=PAPER, stroke=ink)]
    for paths, fill, stroke in (
        (used, PALE, "none"),
        (coming, "coming", ACCENT),
        (ours, ACCENT, "none"),
        (rooms, "none", INK),
        (failed, "bad", ACCENT),
    ):
        if paths:
            shapes.append(cells("".join(paths), fill=fill, stroke=stroke))
    return "".join(shape.as_str() for shape in shapes)


def _share(rack: PlanRack) -> str:
    memory = sum(host.memory_bytes for host in rack.hosts)
    return (
        f"{len(rack.hosts)} hosts, memory {100 * sum(map(_taken, rack.hosts)) / memory:.0f} % taken"
        if memory
        else ""
    )


def _cell(x: float, y: float, across: float, high: float) -> str:
    return f"M{x:.1f} {y:.1f}h{across:.1f}v{high:.1f}h-{across:.1f}z"
