"""The states of a step, what can happen to it, and the literal table of legal moves.

The drawing in docs/architecture.md is made from this table. Anything that is not in it raises and changes nothing.
"""

from enum import StrEnum
from types import MappingProxyType
from typing import Final

from staddle.kernel import OurFault

__all__ = ["MOVES", "Event", "State", "moved"]


class State(StrEnum):
    """What is known of a step."""

    TO_DO = "to do"
    AT_WORK = "at work"
    AWAITS_PERSON = "awaits a person"
    SEEN_DONE = "seen done"
    REFUSED = "refused"
    NOT_KNOWN = "not known"
    BACKED_OUT = "backed out"


class Event(StrEnum):
    """What the journal can say of a step. ``NOTED`` concerns the rollout as a whole and moves no step."""

    STARTED = "started"
    ASKED = "asked a person"
    ANSWERED = "answered by a person"
    SEEN = "seen done"
    REFUSED = "refused"
    LOST = "outcome not known"
    UNDO_STARTED = "back-out started"
    BACKED_OUT = "seen gone"
    WENT_ALONG = "went with what it stood on"
    NOTED = "noted"


MOVES: Final = MappingProxyType(
    {
        (State.TO_DO, Event.STARTED): State.AT_WORK,
        (State.AT_WORK, Event.SEEN): State.SEEN_DONE,
        (State.AT_WORK, Event.REFUSED): State.REFUSED,
        (State.AT_WORK, Event.LOST): State.NOT_KNOWN,
        (State.AT_WORK, Event.ASKED): State.AWAITS_PERSON,
        (State.AWAITS_PERSON, Event.ANSWERED): State.AT_WORK,
        (State.AWAITS_PERSON, Event.STARTED): State.AT_WORK,  # a later run looks first, then asks again
        (State.NOT_KNOWN, Event.STARTED): State.AT_WORK,
        (State.REFUSED, Event.STARTED): State.AT_WORK,
        # Back-out. Between its start and the look that sees nothing left, nobody knows what is there.
        (State.SEEN_DONE, Event.UNDO_STARTED): State.NOT_KNOWN,
        (State.REFUSED, Event.UNDO_STARTED): State.NOT_KNOWN,
        (State.NOT_KNOWN, Event.UNDO_STARTED): State.NOT_KNOWN,
        (State.AWAITS_PERSON, Event.UNDO_STARTED): State.NOT_KNOWN,
        (
            State.NOT_KNOWN,
            Event.ANSWERED,
        ): State.NOT_KNOWN,  # a person's word that they took it back; a look decides
        (State.NOT_KNOWN, Event.BACKED_OUT): State.BACKED_OUT,
        # What lived in a machine that was seen gone cannot be looked at any more: it is not called seen.
        (State.NOT_KNOWN, Event.WENT_ALONG): State.BACKED_OUT,
    }
)


def moved(step_id: str, state: State, event: Event) -> State:
    """The state after the event.

    Raises: OurFault: the table has no such move.
    """
    try:
        return MOVES[state, event]
    except KeyError as exc:
        raise OurFault.one(
            f'step {step_id} is "{state}" and cannot be "{event}"',
            why="the table of legal moves has no such entry",
            mend="report this with the exported journal; nothing was changed",
        ) from exc
