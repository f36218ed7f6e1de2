"""The errors of the whole program, one class per what the reader can do next.

StaddleError
├── InputRefused      what was handed in is wrong: mend the named places; every fault is listed at once
├── NotAllowed        the request is sound but the present state forbids it: wait, or do the named thing first
├── OutsideFailed     a machine, network, disk or service did not do its part: mend it and run again
│   └── OutcomeUnknown  the effect may or may not have happened: look before anything is repeated
└── OurFault          a promise of the program was broken: report it; nothing the reader did is wrong

``OutsideFailed`` itself means that the effect is known **not** to have happened; its near twin
``OutcomeUnknown`` means that nobody knows. Nothing may print one for the other.
"""

from dataclasses import dataclass
from typing import Final, Self

__all__ = [
    "Fault",
    "InputRefused",
    "NotAllowed",
    "OurFault",
    "OutcomeUnknown",
    "OutsideFailed",
    "StaddleError",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong, in the four parts in which every error is told.

    Args: what: name, value and expectation; where: file:line:column, cell or address ("" if there is none);
        why: the reason ("" if what says it all); mend: what the reader can do.
    """

    what: str
    where: str = ""
    why: str = ""
    mend: str = ""

    def lines(self) -> tuple[str, ...]:
        """The fault as printable lines, without a leading word. Never empty."""
        rest = (("where", self.where), ("why", self.why), ("try", self.mend))
        return (self.what, *(f"  {label + ':':<7}{text}" for label, text in rest if text))


class StaddleError(Exception):
    """Root of every error that this program raises on purpose.

    Args: faults: one or more faults, in the order in which they should be read.
    """

    def __init__(self, *faults: Fault) -> None:
        if not faults:
            raise AssertionError("an error without a fault tells its reader nothing")
        self.faults: Final = faults
        super().__init__(self.text())

    @classmethod
    def one(cls, what: str, *, where: str = "", why: str = "", mend: str = "") -> Self:
        """The error with a single fault, as an instance of the class it is called on."""
        return cls(Fault(what=what, where=where, why=why, mend=mend))

    def text(self) -> str:
        """All faults as text: ``error: …`` and its indented lines, a blank line between faults."""
        return "\n\n".join("error: " + "\n".join(fault.lines()) for fault in self.faults)


class InputRefused(StaddleError):
    """What was handed in is wrong. Nothing was written; all faults are listed together."""


class NotAllowed(StaddleError):
    """The request is sound, the present state forbids it (lease held, order wrong, already sealed)."""


class OutsideFailed(StaddleError):
    """Something outside the program failed, and the effect is known not to have happened."""


class OutcomeUnknown(OutsideFailed):
    """Something outside failed in such a way that the effect may have happened. Look, then decide."""


class OurFault(StaddleError):
    """A bug of the program itself, found by one of its own checks."""
