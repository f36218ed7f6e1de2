"""What a kind of step is. Each kind is one file in kinds/ and defines ``KIND``; adding one touches no other file.

A kind says what must be true when it is done (``look``), how to bring it about (``act``), and how to take it
back (``look_undone``, ``undo``). It never journals, never waits, never decides what is next: rollout/ does.
"""

import importlib
import pkgutil
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from types import MappingProxyType

from staddle.kernel import OurFault
from staddle.plan.looks import Look, NotYet
from staddle.plan.orders import Step
from staddle.plan.ports import Tools

__all__ = ["BackOut", "Facts", "Kind", "Minutes", "all_kinds", "get_kind"]


class BackOut(StrEnum):
    """How a step is taken back."""

    UNDO = "undone by itself"
    WITH_MACHINE = "goes with its machine"
    NOTHING = "nothing to take back"
    NONE = "cannot be backed out"


@dataclass(frozen=True, slots=True, kw_only=True)
class Minutes:
    """Three-point duration in minutes: optimistic, likely, pessimistic."""

    optimistic: float
    likely: float
    pessimistic: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What everybody may know of a kind without carrying it out.

    ``deadline_s``: how long the goal may take to be seen after the effect; ``settle``: how many looks in a row must
    see it; ``acts``: whether there is an effect of its own; ``restarts``: it starts again what has stopped; ``secrets``: which secrets it needs, in words.
    """

    name: str
    title: str
    goal: str
    probe: str
    actor: str = "tool"
    acts: bool = True
    restarts: bool = False
    back_out: BackOut = BackOut.NOTHING
    back_out_note: str = ""
    minutes: Minutes = Minutes(optimistic=0.1, likely=0.5, pessimistic=2)
    deadline_s: float = 60
    settle: int = 1
    secrets: tuple[str, ...] = ()


class Kind:
    """Base of all kinds: a kind without an effect only looks."""

    facts: Facts

    async def look(self, step: Step, tools: Tools) -> Look:
        """Whether the goal is seen. Changes nothing."""
        raise NotImplementedError

    async def act(self, step: Step, tools: Tools) -> None:
        """Bring the goal about. Only called after a look said NotYet."""

    async def look_undone(self, step: Step, tools: Tools) -> Look:
        """Whether nothing of the step is left."""
        return NotYet(why="this kind of step has nothing to take back")

    async def undo(self, step: Step, tools: Tools) -> None:
        """Take the effect back."""


@cache
def all_kinds() -> MappingProxyType[str, Kind]:
    """Every kind by its name, found by looking into kinds/.

    Raises: OurFault: two files define the same name.
    """
    from staddle.plan import kinds  # the folder is scanned on first use, so that a new file is enough

    found: dict[str, Kind] = {}
    for info in pkgutil.iter_modules(kinds.__path__):
        kind: Kind = importlib.import_module(f"staddle.plan.kinds.{info.name}").KIND
        if kind.facts.name in found:
            raise OurFault.one(f'two kinds of step are called "{kind.facts.name}"', where=info.name)
        found[kind.facts.name] = kind
    return MappingProxyType(found)


def get_kind(name: str) -> Kind:
    """One kind. Raises: OurFault: a plan names a kind that no file defines."""
    try:
        return all_kinds()[name]
    except KeyError as exc:
        raise OurFault.one(
            f'no kind of step is called "{name}"', mend="the plan was made by a newer staddle: use that"
        ) from exc
