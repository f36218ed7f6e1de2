"""What the runner tells decide() (facts), and what decide() asks of the runner (commands). Frozen values only."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from staddle.kernel import Fault
from staddle.plan.looks import Card, Look, Signature
from staddle.rollout.states import Event

__all__ = [
    "Act",
    "ActFailed",
    "Acted",
    "Answered",
    "Ask",
    "Began",
    "Command",
    "Fact",
    "LookAt",
    "LookFailed",
    "Looked",
    "Record",
    "Stop",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Began:
    """The runner holds the lease with this epoch."""

    epoch: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """A look came back."""

    step_id: str
    look: Look


@dataclass(frozen=True, slots=True, kw_only=True)
class LookFailed:
    """A look could not be made. It says nothing about the goal, so nothing may be done on the strength of it."""

    step_id: str
    fault: Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Acted:
    """The effect was carried out as far as its adapter knows; a look has to show it."""

    step_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ActFailed:
    """The effect failed: certainly not done, or (``unknown``) nobody knows."""

    step_id: str
    fault: Fault
    unknown: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """A person answered a card; None: nobody is there to answer in this run."""

    step_id: str
    signature: Signature | None


Fact = Began | Looked | LookFailed | Acted | ActFailed | Answered


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """Write this to the journal before anything that follows in the list."""

    step_id: str
    event: Event
    intent: str = ""
    evidence: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAt:
    """Look at the step at an instant, not before."""

    step_id: str
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Act:
    """Carry out the step's effect (or, in back-out, take it back)."""

    step_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """Ask a person."""

    step_id: str
    card: Card


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Nothing is at work and nothing can be started: the run ends here."""


Command = Record | LookAt | Act | Ask | Stop
