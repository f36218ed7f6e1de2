"""What a look at the world can say. A step is done when a look says ``Seen``; nothing else makes it done."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

from staddle.kernel import Fault

__all__ = ["Card", "Look", "NeedsPerson", "NotYet", "Seen", "Signature", "Wrong"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """The goal of the step was seen. ``evidence`` goes into the journal; it never holds a secret."""

    evidence: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotYet:
    """The goal is not there (yet), and nothing speaks against going on.

    ``hopeless``: waiting alone will not bring it (a machine has stopped). Before the effect that is no obstacle;
    after it the step is refused at once instead of at its deadline.
    """

    why: str
    hopeless: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """What is there contradicts the goal: this member stops until the fault is mended."""

    fault: Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One entry of a run card: what a person does, the values to type, and what they sign or enter.

    ``entry`` names what the person types back; "" means a plain sign-off.
    """

    title: str
    lines: tuple[str, ...]
    values: tuple[tuple[str, str], ...] = ()
    secret_values: tuple[tuple[str, str], ...] = ()  # (label, name in the strongbox)
    entry: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class NeedsPerson:
    """Only a person can do or see this."""

    card: Card


Look = Seen | NotYet | Wrong | NeedsPerson


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A person's word on one card: who, when, and what they typed back."""

    by: str
    at: datetime
    entry: str = ""
