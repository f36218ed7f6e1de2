"""What a proof expects, what it saw, and what it found. Frozen values; judging is in judge.py, looking in observe.py."""

from dataclasses import dataclass
from datetime import datetime

from staddle.plan.ports import Health, View

__all__ = ["Check", "Exchange", "Expected", "ExpectedMember", "MemberSaw", "Observation", "Proof", "Sight"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedMember:
    """One member as design and journal have it."""

    member: str
    fqdn: str
    address: str
    port: int
    fingerprint: str  # as confirmed, from the journal
    processors: int
    memory_mib: int
    leads: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """The cluster as design and journal have it."""

    cluster: str
    version: str
    most_offset_ms: int
    members: tuple[ExpectedMember, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberSaw:
    """What was seen of and through one member. ``why`` tells what could not be seen."""

    member: str
    health: Health | None = None
    view: View | None = None
    wire_fingerprint: str = ""
    covers_name: bool = False
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """One value, written through one member and read through each other. A read of None: it had none."""

    writer: str
    value: str
    written: bool
    reads: tuple[tuple[str, str | None], ...]
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """One round of looking, in the order of the expected members."""

    at: datetime
    members: tuple[MemberSaw, ...]
    exchanges: tuple[Exchange, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One comparison of a proof."""

    name: str
    subject: str
    good: bool
    expected: str
    seen: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """One cell of who sees whom: "self", "hears", "lost", "unlisted" or "silent" (the viewer gave no view)."""

    viewer: str
    viewed: str
    mark: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What was found. Good only if every check is. ``rounds`` is how many looks in a row agreed."""

    at: datetime
    cluster: str
    good: bool
    rounds: int
    checks: tuple[Check, ...]
    sights: tuple[Sight, ...]
    exchanges: tuple[Exchange, ...]

    def failed(self) -> tuple[Check, ...]:
        """The checks that are not good."""
        return tuple(check for check in self.checks if not check.good)
