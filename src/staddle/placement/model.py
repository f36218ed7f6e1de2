"""The placement question and its answers, as frozen values. No solving in here (solve.py).

A need is what one member takes; a room is what one host or pool has left. Both are whole bytes and whole vCPUs.
The five outcomes are five types: none may be printed for another.
"""

from dataclasses import dataclass, field

from staddle.kernel import Fault

__all__ = [
    "BestShown",
    "ConflictRule",
    "DiskNeed",
    "GoodWithBound",
    "HostRoom",
    "InputInvalid",
    "MemberNeed",
    "NoneExists",
    "NotFoundInTime",
    "Outcome",
    "PassedOver",
    "Placement",
    "PoolRoom",
    "Problem",
    "Seat",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskNeed:
    """One disk: what it takes from a pool's promise (its capacity) and from its free space (what is written)."""

    disk_id: str
    promised_bytes: int
    written_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberNeed:
    """What one member takes and where it may stand. ``site`` empty means any."""

    name: str
    memory_bytes: int
    vcpus: int
    disks: tuple[DiskNeed, ...] = ()
    networks: tuple[str, ...] = ()
    cpu_level: str = ""
    site: str = ""
    pinned_to: str = ""
    keep_out: tuple[str, ...] = ()
    votes: bool = True
    leads: str = "never"
    data: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class HostRoom:
    """What one host has left, and what it reaches. ``domains`` holds (kind, name) of every domain above it.

    ``node_cores`` and ``node_memory_bytes`` are those of one NUMA node; 0 means not known, and excludes nothing.
    """

    name: str
    memory_bytes: int
    vcpus: int
    memory_total_bytes: int
    networks: tuple[str, ...]
    pools: tuple[str, ...]
    domains: tuple[tuple[str, str], ...]
    cpu_level: str = ""
    node_cores: int = 0
    node_memory_bytes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolRoom:
    """What one pool has left above its floor (``free_bytes``) and under its promise limit (``promise_bytes``)."""

    name: str
    free_bytes: int
    promise_bytes: int
    capacity_bytes: int
    domains: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """Where one member stands: its host, and a pool for each disk in the order of its needs."""

    member: str
    host: str
    disks: tuple[tuple[str, str], ...]  # (disk id, pool)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """The whole question. ``apart`` holds kinds of domain, "host" and "pool"; ``settled`` is what stood before.

    ``allowed_pools`` empty means any pool. ``one_cpu_level``: all members that hold data stand on hosts of one level.
    """

    members: tuple[MemberNeed, ...]
    hosts: tuple[HostRoom, ...]
    pools: tuple[PoolRoom, ...] = ()
    apart: tuple[str, ...] = ("host",)
    deputy_apart: tuple[str, ...] = ()
    majority_kinds: tuple[str, ...] = ()  # kinds of domain in which no one may hold half of the votes or more
    settled: tuple[Seat, ...] = ()
    allowed_pools: tuple[str, ...] = ()
    one_cpu_level: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PassedOver:
    """Why a host was not taken: the first rule that excluded it, or its rank among the possible ones.

    ``members`` are the like members of which this is said, in the order of the members.
    """

    host: str
    reason: str
    members: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Placement:
    """An answer: a seat for each member in the order of the members, why each, and why not the other hosts."""

    seats: tuple[Seat, ...]
    reasons: tuple[tuple[str, str], ...] = ()  # (member, why this host)
    passed_over: tuple[PassedOver, ...] = ()
    levels: tuple[tuple[str, float], ...] = ()  # the objective, most important level first

    def get_seat(self, member: str) -> Seat:
        """The seat of one member. Raises: KeyError: no such member."""
        return {seat.member: seat for seat in self.seats}[member]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestShown:
    """No better placement exists; every level of the objective was proven."""

    placement: Placement


@dataclass(frozen=True, slots=True, kw_only=True)
class GoodWithBound:
    """A valid placement; on ``level`` it reaches ``reached``, and nothing can be below ``bound``."""

    placement: Placement
    level: str
    reached: float
    bound: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ConflictRule:
    """One group of rules that takes part in a conflict, in words of the design."""

    name: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NoneExists:
    """Proven: no placement meets the rules. ``irreducible`` says whether each rule was shown to be needed."""

    conflict: tuple[ConflictRule, ...]
    irreducible: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFoundInTime:
    """Neither found nor excluded within the limit. Says nothing about whether one exists."""

    limit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InputInvalid:
    """The question itself is wrong; nothing was solved."""

    faults: tuple[Fault, ...] = field(default=())


Outcome = BestShown | GoodWithBound | NoneExists | NotFoundInTime | InputInvalid
