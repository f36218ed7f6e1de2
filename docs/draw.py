"""Draws docs/architecture.svg and docs/steps.svg, in the look of the dossier's sheets. Run: python -m docs.draw

The ranks come from the test that holds them, the moves of a step from the program's own table; only where a box or an
arrow lies on the paper is decided in here. A test compares the committed drawings with what this makes.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

import svg

from staddle.dossier.ink import ACCENT, INK, PALE, PAPER, Drawn, box, letter, line, outline, sheet, titled
from staddle.dossier.lettering import width
from staddle.dossier.stone import STONE_WIDTH, stone
from staddle.rollout.states import MOVES, Event, State
from tests.test_ranks import RANKS

__all__ = ["DRAWINGS", "EDGES", "ROOMS", "draw_ranks", "draw_steps"]

Point = tuple[float, float]

# What each room does, in two lines of at most 26 characters, and whether it reaches outside the process: "world" for
# machines and networks, "files" for files and databases, "" for neither.
ROOMS: Final = {
    "kernel": ("units, errors, findings,", "ports of time and chance", ""),
    "package": ("the appliance as shipped:", "OVF, OVA, digests", "files"),
    "estate": ("tables of what is there,", "the rule of bookings", "files"),
    "design": ("what the engineer wants;", "profiles as data", ""),
    "trust": ("certificates, secrets,", "the strongbox", "files"),
    "failures": ("what fails together, and", "whether it restarts", ""),
    "addressing": ("names, addresses, zones", "and ports of each member", ""),
    "placement": ("member to host, disk to", "pool; why, or why not", ""),
    "survival": ("what a failure takes, who", "restarts; share of a year", ""),
    "answers": ("an answer, with reason, to", "each question asked", ""),
    "plan": ("kinds of step, orders,", "ports to the world", ""),
    "review": ("rules that look for", "mistakes and risks", ""),
    "rollout": ("moves, decide(), runner,", "the journal's port", ""),
    "proof": ("who sees whom; judged", "against the design", ""),
    "platforms": ("makes machines: loopback,", "by hand, yours", "world"),
    "appliances": ("speaks as the profile", "says, over a wire", ""),
    "stores": ("journal and bookings", "on a database", "files"),
    "probes": ("TCP, TLS, HTTPS on a", "compared certificate", "world"),
    "dossier": ("the record for people:", "PDF, HTML, drawings", ""),
    "jobs": ("one function a verb: reads the folder, hands the adapters in, writes records", "", "files"),
    "cli": ("parses, calls jobs, shows:", "text, or one JSON document", ""),
    "web": (
        "the same for a browser: a set of drawing sheets,",
        "and the desk at which a rollout works",
        "world",
    ),
}
_STANDIN: Final = ("a small clustered service", "imports nothing of ours", "world")
_HATCH: Final = {"world": "ours", "files": "used"}

_LEFT: Final = 92.0
_ACROSS: Final = 940.0
_COURSE: Final = 64.0
_GAP: Final = 10.0


def _room(name: str, words: tuple[str, str, str], x: float, y: float, across: float) -> svg.Element:
    first, second, reach = words
    elements: list[svg.Element] = [box(x, y, across, _COURSE, fill=PAPER)]
    if reach:
        elements.append(box(x, y, 9, _COURSE, fill=_HATCH[reach], thick=0.6))
    left = x + 18
    elements.append(letter(name, left, y + 21, 13, bold=True))
    if second:
        elements += [letter(first, left, y + 38, 10), letter(second, left, y + 52, 10)]
    else:
        elements.append(letter(first, left, y + 44, 10.5))
    return titled(f"{name}: {first} {second}".strip(), elements)


def draw_ranks() -> str:
    """The rooms as courses of a building on a ground line: what stands higher may rest on all that is lower."""
    top = 64.0
    elements: list[svg.Element] = [
        letter("Rooms of the program, rank by rank", _LEFT, 26, 16, bold=True),
        letter("An import points down only. Rooms of one course do not know each other.", _LEFT, 46, 11),
    ]
    foot = top
    for rank in range(len(RANKS) - 1, -1, -1):
        rooms = RANKS[rank]
        elements.append(letter(str(rank), _LEFT - 26, foot + 38, 16, anchor="middle", colour=PALE))
        across = (_ACROSS - _GAP * (len(rooms) - 1)) / len(rooms)
        for number, name in enumerate(rooms):
            elements.append(_room(name, ROOMS[name], _LEFT + number * (across + _GAP), foot, across))
        foot += _COURSE + _GAP
    ground = foot + 2
    elements.append(line((_LEFT - 54, ground), (_LEFT + _ACROSS + 18, ground), thick=2))
    elements.append(box(_LEFT - 54, ground, _ACROSS + 72, 8, fill="used", stroke="none", thick=0))
    elements += _down_arrow(_LEFT - 48, top + 6, foot - 16)
    elements += _below_ground(ground + 26)
    drawn = Drawn(width=_LEFT + _ACROSS + 30, height=ground + 108, elements=tuple(elements))
    return sheet(
        drawn,
        title="Rooms of the program, rank by rank",
        description="; ".join(f"rank {rank}: {', '.join(rooms)}" for rank, rooms in enumerate(RANKS)),
    )


def _down_arrow(x: float, top: float, foot: float) -> list[svg.Element]:
    return [line((x, top), (x, foot - 6), thick=1.2), _head((x, foot), (0, 1), INK)]


def _below_ground(y: float) -> list[svg.Element]:
    words = _LEFT + 356
    elements: list[svg.Element] = [_room("standin", _STANDIN, _LEFT, y, 210)]
    elements += stone("deputy", _LEFT + 266, y + 40)
    elements.append(
        letter("apart from all ranks", _LEFT + 266 + STONE_WIDTH / 2, y + 56, 9, anchor="middle", colour=PALE)
    )
    elements += [
        box(words, y + 4, 22, 14, fill="ours", thick=0.6),
        letter("reaches machines and networks", words + 32, y + 15, 10),
        box(words, y + 26, 22, 14, fill="used", thick=0.6),
        letter("reads or writes files and databases", words + 32, y + 37, 10),
        box(words, y + 48, 22, 14, thick=0.6),
        letter("neither: values in, values out, or through a port", words + 32, y + 59, 10),
    ]
    return elements


# The states of a step: where each box lies, by its middle.
_BOX: Final = (158.0, 46.0)
_STATES: Final = {
    State.TO_DO: (130.0, 110.0),
    State.AT_WORK: (500.0, 110.0),
    State.SEEN_DONE: (870.0, 110.0),
    State.AWAITS_PERSON: (215.0, 275.0),
    State.REFUSED: (750.0, 275.0),
    State.NOT_KNOWN: (500.0, 440.0),
    State.BACKED_OUT: (130.0, 440.0),
}
_SIGNS: Final = {
    State.AWAITS_PERSON: "used",
    State.REFUSED: "bad",
    State.NOT_KNOWN: "bad",
    State.SEEN_DONE: "ours",
}

# The corners of each arrow from one state to another, and where its words stand (middle of the first base line).
EDGES: Final[dict[tuple[State, State], tuple[Sequence[Point], Point]]] = {
    (State.TO_DO, State.AT_WORK): (((209, 110), (421, 110)), (315, 104)),
    (State.AT_WORK, State.SEEN_DONE): (((579, 110), (791, 110)), (685, 104)),
    (State.AT_WORK, State.AWAITS_PERSON): (((421, 128), (215, 190), (215, 252)), (262, 163)),
    (State.AWAITS_PERSON, State.AT_WORK): (((294, 262), (452, 262), (452, 133)), (372, 243)),
    (State.AT_WORK, State.NOT_KNOWN): (((488, 133), (488, 417)), (428, 322)),
    (State.NOT_KNOWN, State.AT_WORK): (((524, 417), (524, 133)), (552, 322)),
    (State.AT_WORK, State.REFUSED): (((579, 128), (750, 190), (750, 252)), (700, 163)),
    (State.REFUSED, State.AT_WORK): (((671, 262), (560, 262), (560, 133)), (612, 256)),
    (State.AWAITS_PERSON, State.NOT_KNOWN): (((215, 298), (215, 365), (421, 432)), (262, 386)),
    (State.REFUSED, State.NOT_KNOWN): (((750, 298), (750, 365), (579, 432)), (710, 386)),
    (State.SEEN_DONE, State.NOT_KNOWN): (((870, 133), (870, 448), (579, 448)), (778, 442)),
    (State.NOT_KNOWN, State.NOT_KNOWN): (((468, 463), (468, 500), (532, 500), (532, 463)), (500, 516)),
    (State.NOT_KNOWN, State.BACKED_OUT): (((421, 448), (209, 448)), (315, 465)),
}
_BACKWARDS: Final = (Event.UNDO_STARTED, Event.BACKED_OUT, Event.WENT_ALONG)


def _events(edge: tuple[State, State]) -> tuple[Event, ...]:
    return tuple(event for (start, event), end in MOVES.items() if (start, end) == edge)


def _head(tip: Point, along: Point, colour: str) -> svg.Element:
    length = (along[0] ** 2 + along[1] ** 2) ** 0.5
    ux, uy = along[0] / length, along[1] / length
    back = (tip[0] - 9 * ux, tip[1] - 9 * uy)
    return outline(
        svg.M(tip[0], tip[1]),
        svg.L(back[0] - 4 * uy, back[1] + 4 * ux),
        svg.L(back[0] + 4 * uy, back[1] - 4 * ux),
        svg.Z(),
        fill=colour,
        stroke=colour,
        thick=0.6,
    )


def _arrow(edge: tuple[State, State]) -> list[svg.Element]:
    corners, _ = EDGES[edge]
    backwards = all(event in _BACKWARDS or edge[0] is edge[1] for event in _events(edge))
    (before_x, before_y), (tip_x, tip_y) = corners[-2], corners[-1]
    path: list[svg.PathData] = [svg.M(*corners[0])]
    path += [svg.L(x, y) for x, y in corners[1:]]
    return [
        outline(*path, thick=1.2, dash="5 3" if backwards else ""),
        _head((tip_x, tip_y), (tip_x - before_x, tip_y - before_y), INK),
    ]


def _words(edge: tuple[State, State]) -> list[svg.Element]:
    _, (x, y) = EDGES[edge]
    elements: list[svg.Element] = []
    for number, event in enumerate(_events(edge)):
        text, foot = event.value, y + 13 * number
        across = width(text, 10) + 6
        elements.append(box(x - across / 2, foot - 10, across, 13, fill=PAPER, stroke="none", thick=0))
        elements.append(letter(text, x, foot, 10, anchor="middle"))
    return elements


def _state(state: State) -> svg.Element:
    (x, y), (across, high) = _STATES[state], _BOX
    left, upper = x - across / 2, y - high / 2
    done = state is State.SEEN_DONE
    elements: list[svg.Element] = [
        box(left, upper, across, high, fill=PAPER, stroke=ACCENT if done else INK, thick=2 if done else 1.2)
    ]
    if sign := _SIGNS.get(state):
        elements.append(box(left, upper, 12, high, fill=sign, thick=0.6))
    elements.append(letter(state.value, x + (6 if sign else 0), y + 5, 13, anchor="middle", bold=True))
    return titled(state.value, elements)


def draw_steps() -> str:
    """The states of a step and every legal move between them.

    Raises: KeyError: the table has a state or a move for which no place on the paper is given.
    """
    edges = tuple(dict.fromkeys((start, end) for (start, _), end in MOVES.items()))
    elements: list[svg.Element] = [
        letter("A step: its states, and what may happen to it", 51, 34, 16, bold=True),
        letter("Every move is journalled. What is not drawn cannot happen.", 51, 54, 11),
    ]
    for edge in edges:
        elements += _arrow(edge)
    for edge in edges:
        elements += _words(edge)
    elements += [_state(state) for state in State]
    elements += [
        line((51, 520), (91, 520), thick=1.2),
        letter("forwards", 99, 524, 10),
        line((51, 540), (91, 540), thick=1.2, dash="5 3"),
        letter("back-out", 99, 544, 10),
        letter(
            "Between the start of a back-out and the look that sees nothing left,", 300, 544, 10, colour=PALE
        ),
        letter("nobody knows what is there.", 300, 558, 10, colour=PALE),
    ]
    described = "; ".join(
        f"{start.value} - {event.value} - {end.value}" for (start, event), end in MOVES.items()
    )
    drawn = Drawn(width=1000, height=574, elements=tuple(elements))
    return sheet(drawn, title="The states of a step", description=described)


DRAWINGS: Final = {"architecture.svg": draw_ranks, "steps.svg": draw_steps}


def main() -> None:
    """Write both drawings beside this file."""
    for name, draw in DRAWINGS.items():
        (Path(__file__).parent / name).write_text(draw() + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
