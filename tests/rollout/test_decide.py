"""decide(): driven by facts alone, with an instant that the test moves."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import Fault, OurFault
from staddle.plan.kind import BackOut, get_kind
from staddle.plan.looks import Card, Look, NeedsPerson, NotYet, Seen, Signature, Wrong
from staddle.rollout.decide import MOST_TRIES, Direction, Engine, decide
from staddle.rollout.facts import (
    Act,
    Acted,
    ActFailed,
    Answered,
    Ask,
    Began,
    Command,
    Fact,
    LookAt,
    Looked,
    LookFailed,
    Record,
    Stop,
)
from staddle.rollout.run import new_run
from staddle.rollout.states import Event, State
from tests.rollout.plans import plan_of

START = datetime(2026, 12, 5, 20, tzinfo=UTC)
FAULT = Fault(what="the pool is full", mend="make room")


class World:
    """Answers commands the way a test wants; counts what was carried out. Holds the clock."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.now = START
        self.records: list[tuple[str, Event]] = []
        self.acts: list[str] = []
        self.done: set[str] = set()
        self.stopped = False
        self.open: list[Command] = []
        self.look: Callable[[str], Look] = self._plain_look
        self.act: Callable[[str], Fact] = self._plain_act

    def _plain_look(self, step_id: str) -> Look:
        acts = get_kind(self.engine.run.plan.get_step(step_id).kind).facts.acts
        return (
            Seen(evidence={"seen": step_id}) if step_id in self.done or not acts else NotYet(why="not there")
        )

    def _plain_act(self, step_id: str) -> Fact:
        self.done.add(step_id)
        return Acted(step_id=step_id)

    def tell(self, fact: Fact) -> None:
        self.engine, commands = decide(self.engine, fact, self.now)
        for command in commands:
            match command:
                case Record(step_id=step_id, event=event):
                    self.records.append((step_id, event))
                case Stop():
                    self.stopped = True
                case _:
                    self.open.append(command)

    def run(self, *, most: int = 5000) -> None:
        for _ in range(most):
            if self.stopped or not self.open:
                return
            command = self.open.pop(0)
            match command:
                case LookAt(step_id=step_id, at=at):
                    self.now = max(self.now, at)
                    self.tell(Looked(step_id=step_id, look=self.look(step_id)))
                case Act(step_id=step_id):
                    self.acts.append(step_id)
                    self.tell(self.act(step_id))
                case Ask(step_id=step_id):
                    self.tell(Answered(step_id=step_id, signature=Signature(by="R. Fen", at=self.now)))
        raise AssertionError("the run does not come to an end")


def forward(count: int = 3) -> World:
    world = World(Engine(run=new_run(plan_of(count)), direction=Direction.FORWARD))
    world.tell(Began(epoch=1))
    return world


def test_a_run_without_trouble_sees_every_step_done_and_acts_once_on_each() -> None:
    world = forward()
    world.run()
    plan = world.engine.run.plan
    assert world.stopped
    assert {world.engine.run.state(step.step_id) for step in plan.steps} == {State.SEEN_DONE}
    acting = [step.step_id for step in plan.steps if get_kind(step.kind).facts.acts]
    assert sorted(world.acts) == sorted(acting)
    assert world.engine.run.sealed


def closing(plan_steps_done: int) -> World:
    """A run whose window closes once that many effects were begun; what is at work then goes on."""
    world = forward()
    act = world.act

    def counted(step_id: str) -> Fact:
        if len(world.acts) == plan_steps_done:
            world.engine = replace(world.engine, until=world.now)
        return act(step_id)

    world.act = counted
    world.run()
    return world


@pytest.mark.parametrize("begun", [1, 2, 5, 9, 14])
def test_a_window_that_closes_lets_no_further_effect_begin_and_what_has_begun_is_finished(begun: int) -> None:
    world = closing(begun)
    run = world.engine.run
    # Commands given before the closing are carried out: an effect whose order was given has begun.
    started = world.acts
    assert world.stopped
    assert not run.sealed
    assert {run.state(step_id) for step_id in started} == {State.SEEN_DONE}
    held = run.in_state(State.REFUSED)
    assert all(
        run.known[s.step_id].evidence["what"] == "the window closed before the effect was begun" for s in held
    )
    assert not set(started) & {step.step_id for step in held}
    assert world.records[-1] == ("", Event.NOTED)
    assert run.in_state(State.TO_DO)

    again = World(Engine(run=run, direction=Direction.FORWARD))  # the next window
    again.done = world.done
    again.tell(Began(epoch=2))
    again.run()
    assert again.engine.run.sealed
    assert not set(again.acts) & set(started)


def test_an_effect_whose_outcome_is_not_known_is_looked_after_beyond_the_window() -> None:
    world = forward()
    first: list[str] = []

    def act(step_id: str) -> Fact:
        if not first:
            first.append(step_id)
            world.engine = replace(world.engine, until=world.now)
            return ActFailed(step_id=step_id, fault=FAULT, unknown=True)
        world.done.add(step_id)
        return Acted(step_id=step_id)

    world.act = act
    world.run()
    assert world.acts == [*first, *first]
    assert world.engine.run.state(first[0]) is State.SEEN_DONE
    assert world.stopped


def test_a_back_out_is_not_held_by_a_window() -> None:
    engine = Engine(run=new_run(plan_of(3)), direction=Direction.BACK_OUT, until=START)
    assert not engine.is_closed(START)


def test_the_intent_is_recorded_before_the_look_and_the_look_comes_before_the_effect() -> None:
    world = forward()
    first = world.engine.run.plan.steps[0].step_id
    assert world.records == [(first, Event.STARTED)]
    assert world.open == [LookAt(step_id=first, at=START)]


def test_what_an_earlier_try_left_is_found_and_not_done_again() -> None:
    world = forward()
    world.done = {step.step_id for step in world.engine.run.plan.steps}
    world.run()
    assert world.acts == []
    assert world.engine.run.sealed


def test_a_refused_member_stops_and_the_others_go_on_until_all_are_needed() -> None:
    world = forward()

    def act(step_id: str) -> Fact:
        if step_id == "level-2/power-on":
            return ActFailed(step_id=step_id, fault=FAULT, unknown=False)
        world.done.add(step_id)
        return Acted(step_id=step_id)

    world.act = act
    world.run()
    run = world.engine.run
    assert world.stopped
    assert run.state("level-2/power-on") is State.REFUSED
    assert run.known["level-2/power-on"].evidence == {"what": "the pool is full", "mend": "make room"}
    assert run.state("level-3/await-seen") is State.SEEN_DONE
    assert run.state("cluster/prove") is State.TO_DO


def test_the_same_command_goes_on_after_the_mend() -> None:
    world = forward()
    world.act = lambda step_id: ActFailed(step_id=step_id, fault=FAULT, unknown=False)
    world.run()
    again = World(Engine(run=world.engine.run, direction=Direction.FORWARD))
    again.done = world.done
    again.tell(Began(epoch=2))
    again.run()
    assert again.engine.run.sealed


def test_wrong_refuses_at_once_even_after_the_effect() -> None:
    world = forward()
    world.look = lambda step_id: (
        Wrong(fault=FAULT) if step_id == "level-1/confirm-fingerprint" else world._plain_look(step_id)
    )
    world.run()
    assert world.engine.run.state("level-1/confirm-fingerprint") is State.REFUSED
    assert world.engine.run.state("level-1/await-healthy") is State.TO_DO


def test_a_goal_that_stays_away_is_refused_at_its_deadline_with_the_last_reason() -> None:
    world = forward()
    world.look = lambda step_id: (
        NotYet(why="no route") if step_id == "level-1/await-healthy" else world._plain_look(step_id)
    )
    world.run()
    known = world.engine.run.known["level-1/await-healthy"]
    assert known.state is State.REFUSED
    assert known.evidence["why"] == "the last look said: no route"
    assert world.now - START >= timedelta(seconds=get_kind("await-healthy").facts.deadline_s)


def test_a_hopeless_look_after_the_effect_does_not_wait_for_the_deadline() -> None:
    world = forward()
    world.look = lambda step_id: (
        NotYet(why="it has stopped", hopeless=True)
        if step_id == "level-1/power-on"
        else world._plain_look(step_id)
    )
    world.run()
    assert world.engine.run.state("level-1/power-on") is State.REFUSED
    assert world.acts.count("level-1/power-on") == 1
    assert world.now - START < timedelta(seconds=30)


def test_a_look_that_cannot_be_made_never_leads_to_an_effect() -> None:
    world = forward()
    step = "level-1/create-machine"
    world.look = lambda step_id: NotYet(why="x") if step_id == step else world._plain_look(step_id)
    while not any(isinstance(c, LookAt) and c.step_id == step for c in world.open):
        command = world.open.pop(0)
        if isinstance(command, LookAt):
            world.now = max(world.now, command.at)
            world.tell(Looked(step_id=command.step_id, look=world.look(command.step_id)))
        elif isinstance(command, Act):
            world.tell(world.act(command.step_id))
    world.open = [c for c in world.open if not (isinstance(c, LookAt) and c.step_id == step)]
    world.tell(LookFailed(step_id=step, fault=Fault(what="the host does not answer")))
    assert Act(step_id=step) not in world.open
    assert any(isinstance(c, LookAt) and c.step_id == step and c.at > world.now for c in world.open)


def test_several_looks_in_a_row_are_asked_for_where_the_kind_says_so() -> None:
    world = forward()
    answers: Iterator[Look] = iter([Seen(), Seen(), NotYet(why="flapped"), Seen(), Seen(), Seen()])
    asked = []

    def look(step_id: str) -> Look:
        if step_id == "level-1/await-healthy":
            asked.append(step_id)
            return next(answers)
        return world._plain_look(step_id)

    world.look = look
    world.run()
    assert len(asked) == 6
    assert world.engine.run.sealed


def test_an_unknown_outcome_is_looked_at_before_anything_is_repeated() -> None:
    world = forward()
    tries: list[str] = []

    def act(step_id: str) -> Fact:
        world.done.add(step_id)  # it did happen, only the reply was lost
        if step_id == "level-2/join" and not tries:
            tries.append(step_id)
            return ActFailed(step_id=step_id, fault=FAULT, unknown=True)
        return Acted(step_id=step_id)

    world.act = act
    world.run()
    assert world.acts.count("level-2/join") == 1
    events = [event for step_id, event in world.records if step_id == "level-2/join"]
    assert events == [Event.STARTED, Event.LOST, Event.STARTED, Event.SEEN]


def test_an_outcome_that_stays_unknown_is_left_as_not_known() -> None:
    world = forward()
    world.act = lambda step_id: (
        ActFailed(step_id=step_id, fault=FAULT, unknown=True)
        if step_id == "level-1/found"
        else world._plain_act(step_id)
    )
    world.run()
    assert world.acts.count("level-1/found") == MOST_TRIES
    assert world.engine.run.state("level-1/found") is State.NOT_KNOWN


def test_steps_of_a_runner_that_ended_become_not_known_before_they_are_looked_at() -> None:
    world = forward()
    later = World(Engine(run=world.engine.run, direction=Direction.FORWARD))
    later.tell(Began(epoch=2))
    first = later.engine.run.plan.steps[0].step_id
    assert later.records == [(first, Event.LOST), (first, Event.STARTED)]


def test_only_one_member_joins_at_a_time_and_pools_take_few_deliveries() -> None:
    world = forward(5)
    plan = world.engine.run.plan
    most = {"join": 0, "deliver to om-p1": 0}
    while not world.stopped:
        at_work = [plan.get_step(step_id) for step_id in world.engine.live]
        for name in most:
            most[name] = max(most[name], sum(name in step.resources for step in at_work))
        command = world.open.pop(0)
        if isinstance(command, LookAt):
            world.now = max(world.now, command.at)
            world.tell(Looked(step_id=command.step_id, look=world.look(command.step_id)))
        elif isinstance(command, Act):
            world.tell(world.act(command.step_id))
    assert most["join"] == 1
    assert world.engine.run.sealed


def test_a_person_is_asked_recorded_and_then_a_look_decides() -> None:
    world = forward()
    signed: list[str] = []
    card = Card(title="Power on", lines=("Press the button.",))

    def look(step_id: str) -> Look:
        if step_id == "level-1/power-on" and step_id not in world.engine.run.signatures:
            signed.append(step_id)
            return NeedsPerson(card=card)
        if step_id == "level-1/power-on":
            return Seen(evidence={"signed_by": world.engine.run.signatures[step_id].by})
        return world._plain_look(step_id)

    world.look = look
    world.run()
    events = [event for step_id, event in world.records if step_id == "level-1/power-on"]
    assert events == [Event.STARTED, Event.ASKED, Event.ANSWERED, Event.SEEN]
    assert world.acts.count("level-1/power-on") == 0
    assert world.engine.run.known["level-1/power-on"].evidence == {"signed_by": "R. Fen"}


def test_when_nobody_answers_the_step_goes_on_waiting_for_a_person() -> None:
    world = forward()
    world.look = lambda step_id: (
        NeedsPerson(card=Card(title="x", lines=()))
        if step_id == "level-1/create-machine"
        else world._plain_look(step_id)
    )
    while not world.stopped:
        command = world.open.pop(0)
        if isinstance(command, Ask):
            world.tell(Answered(step_id=command.step_id, signature=None))
        elif isinstance(command, LookAt):
            world.now = max(world.now, command.at)
            world.tell(Looked(step_id=command.step_id, look=world.look(command.step_id)))
        elif isinstance(command, Act):
            world.tell(world.act(command.step_id))
    assert world.engine.run.state("level-1/create-machine") is State.AWAITS_PERSON


def test_a_fact_of_a_step_that_is_not_at_work_is_our_fault_and_changes_nothing() -> None:
    world = forward()
    before = world.engine
    with pytest.raises(OurFault, match="which is not at work"):
        decide(world.engine, Acted(step_id="cluster/seal"), START)
    first = world.engine.run.plan.steps[0].step_id
    with pytest.raises(OurFault, match='is in phase "later look"'):
        decide(world.engine, Acted(step_id=first), START)
    assert world.engine == before


def back_out_of(world: World) -> World:
    back = World(Engine(run=world.engine.run, direction=Direction.BACK_OUT))
    back.done = set()
    gone: set[str] = set()
    back.look = lambda step_id: Seen() if step_id in gone else NotYet(why="still there")

    def undo(step_id: str) -> Fact:
        gone.add(step_id)
        return Acted(step_id=step_id)

    back.act = undo
    back.tell(Began(epoch=9))
    return back


def test_back_out_takes_machines_before_disks_and_room_last_and_touches_nothing_else() -> None:
    world = forward()
    world.act = lambda step_id: (
        ActFailed(step_id=step_id, fault=FAULT, unknown=False)
        if step_id == "level-3/create-machine"
        else world._plain_act(step_id)
    )
    world.run()
    back = back_out_of(world)
    back.run()
    kinds = [back.engine.run.plan.get_step(step_id).kind for step_id in back.acts]
    assert kinds == ["create-machine"] * 3 + ["deliver-disk"] * 3 + ["book-room"]
    states = {back.engine.run.state(step.step_id) for step in back.engine.run.plan.steps}
    assert states == {State.BACKED_OUT, State.TO_DO}
    assert back.engine.run.state("level-3/power-on") is State.TO_DO
    assert back.engine.run.backed_out


def test_a_step_that_was_never_started_is_never_taken_back() -> None:
    world = forward()
    back = back_out_of(world)
    back.run()
    assert back.acts == []
    assert back.stopped


def test_what_cannot_be_taken_back_keeps_what_it_stands_on() -> None:
    world = forward()
    world.run()
    back = back_out_of(world)
    plain = back.act
    back.act = lambda step_id: (
        ActFailed(step_id=step_id, fault=FAULT, unknown=False)
        if step_id == "level-2/create-machine"
        else plain(step_id)
    )
    back.run()
    run = back.engine.run
    assert run.state("level-2/create-machine") is State.NOT_KNOWN
    assert run.state("level-2/deliver-disk/system") is State.SEEN_DONE
    assert run.state("cluster/book-room") is State.SEEN_DONE
    assert run.state("level-1/deliver-disk/system") is State.BACKED_OUT


def test_every_kind_says_how_it_is_backed_out() -> None:
    plan = plan_of()
    for step in plan.steps:
        facts = get_kind(step.kind).facts
        assert facts.back_out in BackOut
        assert facts.back_out is not BackOut.UNDO or facts.back_out_note


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_whatever_the_world_answers_the_journal_folds_and_no_effect_comes_without_a_look(
    data: st.DataObject,
) -> None:
    world = forward(2)
    looked: set[str] = set()
    for _ in range(300):
        if world.stopped:
            break
        index = data.draw(st.integers(0, len(world.open) - 1))
        command = world.open.pop(index)
        if isinstance(command, LookAt):
            world.now = max(world.now, command.at)
            looks: list[Look] = [Seen(), NotYet(why="n"), NotYet(why="h", hopeless=True), Wrong(fault=FAULT)]
            looks.append(NeedsPerson(card=Card(title="c", lines=())))
            look = data.draw(st.sampled_from(looks))
            if data.draw(st.booleans()) and isinstance(look, NotYet):
                world.tell(LookFailed(step_id=command.step_id, fault=FAULT))
            else:
                looked.add(command.step_id)
                world.tell(Looked(step_id=command.step_id, look=look))
        elif isinstance(command, Act):
            assert command.step_id in looked
            unknown = data.draw(st.sampled_from([None, True, False]))
            fact: Fact = Acted(step_id=command.step_id)
            if unknown is not None:
                fact = ActFailed(step_id=command.step_id, fault=FAULT, unknown=unknown)
            looked.discard(command.step_id)
            world.tell(fact)
        elif isinstance(command, Ask):
            signature = data.draw(st.sampled_from([None, Signature(by="p", at=world.now)]))
            world.tell(Answered(step_id=command.step_id, signature=signature))
    needs = {step.step_id: step.needs for step in world.engine.run.plan.steps}
    for step_id, known in world.engine.run.known.items():
        if known.state is not State.TO_DO:
            assert all(world.engine.run.state(need) is State.SEEN_DONE for need in needs[step_id])
