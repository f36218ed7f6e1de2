"""The table of legal moves, and that what is not in it changes nothing."""

from datetime import UTC, datetime

import pytest

from staddle.kernel import OurFault
from staddle.rollout.journal import Entry
from staddle.rollout.run import new_run
from staddle.rollout.states import MOVES, Event, State, moved
from tests.rollout.plans import plan_of

NOW = datetime(2026, 12, 5, 20, tzinfo=UTC)


@pytest.mark.parametrize("state", list(State))
@pytest.mark.parametrize("event", [e for e in Event if e is not Event.NOTED])
def test_a_move_is_in_the_table_or_raises(state: State, event: Event) -> None:
    if (state, event) in MOVES:
        assert moved("s", state, event) is MOVES[state, event]
    else:
        with pytest.raises(OurFault, match="cannot be"):
            moved("s", state, event)


def test_every_state_can_be_reached_from_to_do() -> None:
    reached = {State.TO_DO}
    while True:
        more = {after for (before, _), after in MOVES.items() if before in reached} - reached
        if not more:
            break
        reached |= more
    assert reached == set(State)


def test_nothing_leaves_backed_out() -> None:
    assert not [event for state, event in MOVES if state is State.BACKED_OUT]


def test_seen_done_is_only_reached_by_a_look_while_at_work() -> None:
    assert [move for move, after in MOVES.items() if after is State.SEEN_DONE] == [
        (State.AT_WORK, Event.SEEN)
    ]


def test_an_illegal_entry_leaves_the_run_as_it_was() -> None:
    run = new_run(plan_of())
    with pytest.raises(OurFault) as caught:
        run.applied(Entry(step_id="cluster/seal", event=Event.SEEN, at=NOW, actor="x"), 1)
    assert str(caught.value) == (
        'error: step cluster/seal is "to do" and cannot be "seen done"\n'
        "  why:   the table of legal moves has no such entry\n"
        "  try:   report this with the exported journal; nothing was changed"
    )
    assert run == new_run(plan_of())


def test_an_entry_of_an_unknown_step_is_our_fault() -> None:
    with pytest.raises(OurFault, match='step "level-9/join", which the plan does not have'):
        new_run(plan_of()).applied(Entry(step_id="level-9/join", event=Event.STARTED, at=NOW, actor="x"), 1)
