"""What the worst failures take: a line a failure, our members as boxes, guests of others as a bar. As an SVG document."""

from collections.abc import Iterator, Sequence
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PALE, Drawn, box, letter, line, sheet, titled
from staddle.dossier.lettering import shorten
from staddle.survival.judge import ALL, SOME, Judgement
from staddle.survival.serving import State

__all__ = ["draw_failures", "failures_svg"]

_ACROSS: Final = 780
_EDGE: Final = 16
_ROW: Final = 24
_HEAD: Final = 76
_FOOT: Final = 62
_NAME: Final = 168
_BOX: Final = 14
_PITCH: Final = 22
_MOST_BOXES: Final = 9  # of more members the boxes are left out and counted
_STATE: Final = 190
_MOST_ROWS: Final = 24


def failures_svg(
    judged: Sequence[Judgement],
    members: Sequence[str],
    *,
    cluster: str,
    note: str,
    with_hatchings: bool = True,
) -> str:
    """The drawing as an SVG document. Args: judged: worst first; members: by name; note: survey and placement, in words."""
    return sheet(
        draw_failures(judged, members, cluster=cluster, note=note),
        title=f"What failures take from {cluster}",
        description=". ".join(_sentence(one) for one in judged[:_MOST_ROWS]),
        with_hatchings=with_hatchings,
    )


def draw_failures(judged: Sequence[Judgement], members: Sequence[str], *, cluster: str, note: str) -> Drawn:
    """The shapes: at most so many rows as one sheet holds; that there are more is written."""
    rows = judged[:_MOST_ROWS]
    high = _HEAD + len(rows) * _ROW + _FOOT
    boxes = members if len(members) <= _MOST_BOXES else ()
    state_x = _EDGE + _NAME + len(boxes) * _PITCH + (12 if boxes else 0)
    bar_x = state_x + _STATE
    most = max((_guests(one) for one in rows), default=0) or 1
    scale = (_ACROSS - _EDGE - 40 - bar_x) / most
    shapes: list[svg.Element] = [
        box(4, 4, _ACROSS - 8, high - 8, thick=1.6),
        letter(
            shorten(f"Failures of {cluster}, worst first", _ACROSS - 2 * _EDGE, 15), _EDGE, 28, 15, bold=True
        ),
        letter(shorten(note, _ACROSS - 2 * _EDGE, 10), _EDGE, 44, 10, colour=PALE),
        letter("failed", _EDGE, _HEAD - 8, 10, colour=PALE),
        letter("the cluster", state_x, _HEAD - 8, 10, colour=PALE),
        letter("guests of others", bar_x, _HEAD - 8, 10, colour=PALE),
        line((_EDGE, _HEAD - 3), (_ACROSS - _EDGE, _HEAD - 3), thick=0.8),
    ]
    if boxes:
        shapes.append(letter("members", _EDGE + _NAME, _HEAD - 8, 10, colour=PALE))
    for number, one in enumerate(rows):
        top = _HEAD + number * _ROW + 4
        drawn = [
            letter(shorten(one.scenario.name, _NAME - 8, 11), _EDGE, top + 12, 11),
            *_boxes(one, boxes, _EDGE + _NAME, top),
            letter(
                shorten(_state(one) if members else "–", _STATE - 8, 11),
                state_x,
                top + 12,
                11,
                colour=ACCENT if State.DOWN in (one.at_once, one.afterwards) else INK,
            ),
            *_bar(one, bar_x, top, scale),
        ]
        shapes.append(titled(_sentence(one), drawn))
    foot = _HEAD + len(rows) * _ROW + 24
    shapes += [*_legend(foot)]
    if len(judged) > len(rows):
        shapes.append(
            letter(
                f"not drawn: {len(judged) - len(rows)} that are no worse", _EDGE, foot + 30, 10, colour=PALE
            )
        )
    return Drawn(width=_ACROSS, height=high, elements=tuple(shapes))


def _guests(one: Judgement) -> int:
    return one.guests_lost + one.guests_restarted + len(one.not_restarted)


def _state(one: Judgement) -> str:
    same = one.at_once is one.afterwards
    return str(one.at_once) if same else f"{one.at_once}, then {one.afterwards}"


def _sentence(one: Judgement) -> str:
    told = [f"{one.scenario.name}: {_state(one)}"]
    told += [f"lost {', '.join(one.members_lost)}"] * bool(one.members_lost)
    told += [f"displaced {', '.join(one.members_displaced)}"] * bool(one.members_displaced)
    told.append(f"{one.guests_lost} guests lost, {one.guests_restarted} restarted, {one.restarts}")
    return "; ".join(told)


def _boxes(one: Judgement, members: Sequence[str], x: float, top: float) -> Iterator[svg.Element]:
    for number, name in enumerate(members):
        left = x + number * _PITCH
        yield from _member(name in one.members_lost, name in one.members_displaced, left, top)


def _member(lost: bool, displaced: bool, left: float, top: float) -> Iterator[svg.Element]:
    if not lost and not displaced:
        yield box(left, top, _BOX, _BOX, fill="ours", stroke=ACCENT)
        return
    yield box(left, top, _BOX, _BOX, dash="" if lost else "3 2", stroke=ACCENT if lost else INK)
    if lost:
        yield line((left, top), (left + _BOX, top + _BOX), stroke=ACCENT, thick=1.4)
        yield line((left + _BOX, top), (left, top + _BOX), stroke=ACCENT, thick=1.4)


def _bar(one: Judgement, x: float, top: float, scale: float) -> Iterator[svg.Element]:
    at = x
    down = len(one.not_restarted)
    for count, fill, stroke in (
        (one.guests_restarted, "none", INK),
        (one.guests_lost, "used", INK),
        (down, "bad" if one.restarts == SOME else "kept", ACCENT),
    ):
        if count:
            yield box(at, top, count * scale, _BOX, fill=fill, stroke=stroke)
            at += count * scale
    if one.restarts != ALL:
        word = f"{down} stay down" if one.restarts == SOME else "undecided"
        yield letter(shorten(word, 90, 10), min(at + 4, _ACROSS - _EDGE - 66), top + 11, 10, colour=ACCENT)


def _legend(y: float) -> Iterator[svg.Element]:
    x: float = _EDGE
    for shapes, word, room in (
        (_member(False, False, x, y), "stands", 66),
        (_member(False, True, x + 66, y), "displaced", 84),
        (_member(True, False, x + 150, y), "lost", 56),
    ):
        yield from shapes
        yield letter(word, x + _BOX + 6, y + 11, 10)
        x += room
    x = _EDGE + 230
    for fill, word, room in (
        ("none", "restarted", 92),
        ("used", "lost with a pool", 126),
        ("bad", "stay down", 92),
        ("kept", "undecided", 90),
    ):
        yield box(x, y, 22, _BOX, fill=fill, stroke=ACCENT if fill in ("bad", "kept") else INK)
        yield letter(word, x + 28, y + 11, 10)
        x += room + 12
