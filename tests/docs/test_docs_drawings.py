"""The committed drawings are what the script makes, and show every room, state and move."""

import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from docs.draw import DRAWINGS, EDGES, ROOMS, draw_ranks, draw_steps

from staddle.rollout.states import MOVES, State
from tests.test_ranks import RANKS

DOCS = Path(__file__).parents[2] / "docs"


def texts(drawing: str) -> list[str]:
    return [element.text or "" for element in ET.fromstring(drawing).iter("{http://www.w3.org/2000/svg}text")]


@pytest.mark.parametrize("name", sorted(DRAWINGS))
def test_the_committed_drawing_is_what_the_script_makes(name: str) -> None:
    committed = (DOCS / name).read_text(encoding="utf-8")
    assert committed == DRAWINGS[name]() + "\n", f"{name} is out of date: run python -m docs.draw"


def test_every_room_is_drawn_once() -> None:
    rooms = [room for rooms in RANKS for room in rooms]
    assert sorted(ROOMS) == sorted(rooms)
    drawn = texts(draw_ranks())
    assert [drawn.count(room) for room in rooms] == [1] * len(rooms)


def test_every_state_and_every_move_is_drawn_and_no_other() -> None:
    moves = {(start, end) for (start, _), end in MOVES.items()}
    assert set(EDGES) == moves
    drawn = texts(draw_steps())
    assert all(state.value in drawn for state in State)
    for event in {event for _, event in MOVES}:
        # Where the event's words are a state's too ("seen done", "refused"), that state's own label is one more.
        arrows = len({(start, end) for (start, happened), end in MOVES.items() if happened is event})
        label = 1 if event.value in {state.value for state in State} else 0
        assert drawn.count(event.value) == arrows + label, event
