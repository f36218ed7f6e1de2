"""One rack of the placement drawing: a column of hosts, each drawn to its memory, with the members that stand in it."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import svg

from staddle.dossier.elevation import HostElevation, RackElevation
from staddle.dossier.ink import ACCENT, PALE, PAPER, box, letter, line, titled
from staddle.dossier.lettering import shorten, width
from staddle.dossier.stone import STONE_WIDTH, role_of, stone
from staddle.kernel import format_binary

__all__ = ["RACK_WIDTH", "RackScale", "is_broken", "rack", "rack_height", "scale_for"]

RACK_WIDTH: Final = 122
_INSET: Final = 4
_HEAD: Final = 19
_FOOT: Final = 7
_PLATE: Final = 16
_GAUGE: Final = 22
_STONE_ROOM: Final = 31
_TEXT_ROOM: Final = 17
_TALLEST: Final = 350  # of the boxes in the rack with the most memory
_GIB: Final = 1024**3


@dataclass(frozen=True, slots=True, kw_only=True)
class RackScale:
    """How high a byte of memory is drawn."""

    per_byte: float


def scale_for(racks: Sequence[RackElevation]) -> RackScale:
    """The one scale at which the rack with the most memory is as high as the sheet allows."""
    most = max((sum(host.memory_bytes for host in one.hosts) for one in racks), default=0)
    return RackScale(per_byte=_TALLEST / most if most else 0)


def _least(host: HostElevation) -> float:
    return _TEXT_ROOM + len(host.members) * _STONE_ROOM


def _body(host: HostElevation, scale: RackScale) -> float:
    return max(_least(host), host.memory_bytes * scale.per_byte)


def is_broken(host: HostElevation, scale: RackScale) -> bool:
    """Whether the box is higher than to scale, because its lettering needs the room."""
    return _least(host) > host.memory_bytes * scale.per_byte + 0.01


def rack_height(one: RackElevation, scale: RackScale) -> float:
    """From the ground line to the top of the rack."""
    boxes = sum(_PLATE + _body(host, scale) + _INSET for host in one.hosts)
    return _HEAD + boxes + (_PLATE + _INSET if one.further else 0) + _FOOT


def rack(one: RackElevation, x: float, ground: float, scale: RackScale) -> svg.Element:
    """The rack with its left edge at ``x``, standing on ``ground``."""
    top = ground - rack_height(one, scale)
    shapes: list[svg.Element] = [
        box(x, top, RACK_WIDTH, ground - _FOOT - top, fill=PAPER, thick=1.4),
        *(box(foot, ground - _FOOT, 8, _FOOT, fill=PAPER) for foot in (x + 8, x + RACK_WIDTH - 16)),
        letter(
            shorten(one.name, RACK_WIDTH - 8, 11),
            x + RACK_WIDTH / 2,
            top + 13.5,
            11,
            anchor="middle",
            bold=True,
        ),
    ]
    y = top + _HEAD
    for host in one.hosts:
        high = _PLATE + _body(host, scale)
        shapes.append(titled(_sentence(host), list(_host(host, x + _INSET, y, scale))))
        y += high + _INSET
    if one.further:
        text = f"{one.further} more host{'s' * (one.further > 1)}"
        shapes += [
            box(x + _INSET, y, RACK_WIDTH - 2 * _INSET, _PLATE, stroke=PALE, dash="3 3"),
            letter(text, x + RACK_WIDTH / 2, y + 11.5, 10, anchor="middle", colour=PALE),
        ]
    return titled(f"rack {one.name}", shapes)


def _sentence(host: HostElevation) -> str:
    free = host.memory_bytes - host.reserved_bytes - host.used_bytes - host.ours_bytes
    standing = "".join(
        f" Member {m.member} stands here: {role_of(m)}, {format_binary(m.memory_bytes)}."
        for m in host.members
    )
    return (
        f"host {host.name}: {format_binary(host.memory_bytes)} of memory; {format_binary(host.reserved_bytes)} kept "
        f"by the host, {format_binary(host.used_bytes)} taken by others, {format_binary(free)} free.{standing}"
    )


def _host(host: HostElevation, x: float, y: float, scale: RackScale) -> Iterator[svg.Element]:
    across, body = RACK_WIDTH - 2 * _INSET, _body(host, scale)
    yield box(x, y, across, _PLATE + body, fill=PAPER)
    yield letter(shorten(host.name, across - 8, 11), x + 4, y + 12, 11, bold=bool(host.members))
    top, foot = y + _PLATE, y + _PLATE + body
    yield line((x, top), (x + across, top), thick=0.6)
    yield line((x + _GAUGE, top), (x + _GAUGE, foot), thick=0.6)
    yield from _gauge(host, x, foot, body)
    if is_broken(host, scale):
        yield from _break_mark(x, y + _PLATE + body / 2)
    yield letter(
        _amounts(host, across - _GAUGE - 8), x + across - 4, foot - 4.5, 10, anchor="end", colour=PALE
    )
    for number, member in enumerate(host.members):
        stands = foot - _TEXT_ROOM - number * _STONE_ROOM
        left = x + _GAUGE + 4
        yield from stone(role_of(member), left, stands)
        room = across - _GAUGE - 4 - STONE_WIDTH - 4 - 2
        text_x = left + STONE_WIDTH + 4
        yield letter(shorten(member.member, room, 11), text_x, stands - 13, 11, colour=ACCENT, bold=True)
        yield letter(shorten(role_of(member), room, 10), text_x, stands - 2, 10, colour=ACCENT)


def _gauge(host: HostElevation, x: float, foot: float, body: float) -> Iterator[svg.Element]:
    """The part that is taken, from below: what the host keeps, what others have, what is ours."""
    per_byte = body / host.memory_bytes if host.memory_bytes else 0
    level = foot
    for taken, fill in ((host.reserved_bytes, "kept"), (host.used_bytes, "used"), (host.ours_bytes, ACCENT)):
        high = min(taken * per_byte, level - (foot - body))
        if taken and fill == ACCENT:
            high = max(high, 2.5)  # to be seen even where a member is small beside its host
        if high > 0:
            yield box(x, level - high, _GAUGE, high, fill=fill, thick=0.6)
            level -= high


def _break_mark(x: float, y: float) -> Iterator[svg.Element]:
    """Two short strokes across the left edge: this box is higher than to scale, its lettering needs the room."""
    yield line((x - 4, y + 2), (x + 4, y - 3), thick=1)
    yield line((x - 4, y + 6), (x + 4, y + 1), thick=1)


def _amounts(host: HostElevation, room: float) -> str:
    """What is taken, of what there is; needs rounded up, capacity down, the unit always with them."""
    taken = host.reserved_bytes + host.used_bytes + host.ours_bytes
    in_gib = f"{math.ceil(taken / _GIB)}/{host.memory_bytes // _GIB} GiB"
    tenths = 1024 * _GIB / 10  # of a TiB
    in_tib = f"{math.ceil(taken / tenths) / 10:g}/{math.floor(host.memory_bytes / tenths) / 10:g} TiB"
    return in_gib if width(in_gib, 10) <= room else shorten(in_tib, room, 10)
