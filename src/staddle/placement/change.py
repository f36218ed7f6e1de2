"""One change of a question that may help where no placement exists, and what changes cost. Values only."""

from typing import Final

from staddle.placement.model import Mend, Problem

__all__ = ["COSTS", "Change", "mend_of"]

Change = tuple[Mend, Problem]
"""What is told, and the question with that done."""

COSTS: Final = {
    "attach": 1.0,
    "move a guest": 2.0,
    "another design": 3.0,
    "more room": 4.0,
    "booked": 5.0,
    "more domains": 5.5,
    "give up a wish": 6.0,
    "give up a rule": 10.0,
}
"""What a change costs at least, by its kind, in no unit: only their order matters. Common practice, no source: what can be
undone comes before what must be bought, and that before what makes the cluster weaker. Each GiB adds a hundredth."""


def mend_of(kind: str, text: str, *, more: float = 0) -> Mend:
    """A mend of that kind. Args: more: what it costs beyond its kind."""
    return Mend(text=text, kind=kind, cost=COSTS[kind] + more)
