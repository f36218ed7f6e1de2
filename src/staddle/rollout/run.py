"""A run: what is known of every step, folded from the journal. Pure; the live part of a runner is in decide.py."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime

from staddle.kernel import OurFault
from staddle.plan.looks import Signature
from staddle.plan.orders import Plan, Step
from staddle.rollout.gate import emergency_told
from staddle.rollout.journal import Entry, Recorded
from staddle.rollout.states import Event, State, moved

__all__ = ["Known", "Run", "fold", "new_run"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the journal says of one step. ``undoing``: a back-out was started and not yet seen through."""

    state: State = State.TO_DO
    epoch: int = 0
    tries: int = 0
    since: datetime | None = None
    evidence: Mapping[str, object] = field(default_factory=dict)
    undoing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """The plan and what is known of its steps. ``emergencies``: in words, each once, in the order of their runs."""

    plan: Plan
    known: Mapping[str, Known]
    signatures: Mapping[str, Signature] = field(default_factory=dict)
    emergencies: tuple[str, ...] = ()

    def state(self, step_id: str) -> State:
        """The state of one step."""
        return self.known[step_id].state

    def in_state(self, *states: State) -> tuple[Step, ...]:
        """The steps in any of these states, in the order of the plan."""
        return tuple(step for step in self.plan.steps if self.known[step.step_id].state in states)

    def evidence(self, step_id: str) -> Mapping[str, object] | None:
        """The evidence of a step that was seen done; None for any other."""
        known = self.known.get(step_id)
        return known.evidence if known is not None and known.state is State.SEEN_DONE else None

    @property
    def sealed(self) -> bool:
        """Whether the seal was seen."""
        return any(step.kind == "seal" for step in self.in_state(State.SEEN_DONE))

    @property
    def backed_out(self) -> bool:
        """Whether anything of the rollout was backed out: it is never carried on."""
        return any(k.undoing or k.state is State.BACKED_OUT for k in self.known.values())

    @property
    def leaves_something(self) -> bool:
        """Whether any step stands as something else than never begun or backed out."""
        return bool(self.in_state(*(s for s in State if s not in (State.TO_DO, State.BACKED_OUT))))

    def applied(self, entry: Entry, epoch: int) -> "Run":
        """The run after one entry.

        Raises: OurFault: an unknown step, or a move that the table does not have; the run is unchanged.
        """
        if entry.event is Event.NOTED:
            told = emergency_told(entry.evidence)
            if not told or told in self.emergencies:
                return self
            return replace(self, emergencies=(*self.emergencies, told))
        before = self.known.get(entry.step_id)
        if before is None:
            raise OurFault.one(f'the journal speaks of step "{entry.step_id}", which the plan does not have')
        after = replace(
            before,
            state=moved(entry.step_id, before.state, entry.event),
            epoch=epoch,
            tries=before.tries + (entry.event is Event.STARTED),
            since=entry.at,
            evidence=entry.evidence or before.evidence,
            undoing=before.undoing or entry.event is Event.UNDO_STARTED,
        )
        signatures = dict(self.signatures)
        if entry.event is Event.ANSWERED:
            by, typed = str(entry.evidence.get("by", "")), str(entry.evidence.get("entry", ""))
            key = entry.step_id + ("/undo" if before.undoing else "")
            signatures[key] = Signature(by=by, at=entry.at, entry=typed)
        elif entry.event is Event.REFUSED:
            # What a person signed did not hold: the next try asks again instead of repeating the same refusal.
            signatures.pop(entry.step_id, None)
        return replace(self, known={**self.known, entry.step_id: after}, signatures=signatures)


def new_run(plan: Plan) -> Run:
    """A run in which nothing has happened."""
    return Run(plan=plan, known={step.step_id: Known() for step in plan.steps})


def fold(plan: Plan, entries: Iterable[Recorded]) -> Run:
    """The run that the journal's entries tell."""
    run = new_run(plan)
    for recorded in entries:
        run = run.applied(recorded.entry, recorded.epoch)
    return run
