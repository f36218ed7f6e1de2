"""The placement question and its answers, as frozen values. No solving in here (solve.py).

A need is what one member takes; a room is what one host or pool has left. Both are whole bytes and whole vCPUs.
The five outcomes are five types: none may be printed for another.
"""

from dataclasses import dataclass, field
from typing import Final

from staddle.estate.room import memory_with_overhead, vcpus_weighed
from staddle.failures.running import Running, Stand
from staddle.failures.scenario import Scenario
from staddle.kernel import Fault

__all__ = [
    "MEMBER_RESTART_ORDER",
    "Apart",
    "BestShown",
    "ClusterRules",
    "ConflictRule",
    "DiskNeed",
    "GoodWithBound",
    "HostRoom",
    "InputInvalid",
    "MemberNeed",
    "Mend",
    "NoneExists",
    "NotFoundInTime",
    "Outcome",
    "PassedOver",
    "Placement",
    "PoolRoom",
    "Problem",
    "Reserve",
    "Seat",
    "Survive",
]

MEMBER_RESTART_ORDER: Final = 50
"""Before the guests without an order of their own (100). Common practice, no source: after storage, time and names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskNeed:
    """One disk: what it takes from a pool's promise (its capacity) and from its free space (what is written)."""

    disk_id: str
    promised_bytes: int
    written_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberNeed:
    """What one member takes and where it may stand. ``site`` empty means any, and so do no ``cpu_levels``.

    ``cluster`` names the ClusterRules that hold for it. ``vcpu_per_core`` is the most vCPUs a core of its own class, 0
    where the host's limit is enough.
    """

    name: str
    memory_bytes: int
    vcpus: int
    disks: tuple[DiskNeed, ...] = ()
    networks: tuple[str, ...] = ()
    cpu_levels: tuple[str, ...] = ()
    site: str = ""
    pinned_to: str = ""
    keep_out: tuple[str, ...] = ()
    votes: bool = True
    leads: str = "never"
    data: bool = True
    cluster: str = ""
    vcpu_per_core: float = 0
    restart_order: int = MEMBER_RESTART_ORDER


@dataclass(frozen=True, slots=True, kw_only=True)
class HostRoom:
    """What one host has left, and what it reaches. ``domains`` holds (kind, name) of every domain above it.

    ``node_cores`` and ``node_memory_bytes`` are those of one NUMA node; 0 means not known, and excludes nothing.
    ``vcpus`` counts at the host's own limit of vCPUs a core. ``guest_overhead_percent`` of a guest's memory is what the
    host needs for it besides.
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
    vcpu_per_core: float = 0
    guest_overhead_percent: float = 0

    def memory_for(self, member: MemberNeed) -> int:
        """What the member takes of this host's memory, in bytes."""
        return memory_with_overhead(member.memory_bytes, self.guest_overhead_percent)

    def vcpus_for(self, member: MemberNeed) -> int:
        """What the member takes of this host's vCPUs; more than its own where its class allows fewer a core."""
        return vcpus_weighed(member.vcpus, member.vcpu_per_core, self.vcpu_per_core)


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
class Apart:
    """At most so many members of a cluster in one domain of that kind; "host" and "pool" are kinds too."""

    kind: str
    most: int = 1
    key: str = field(default="", compare=False)  # the row of the design that says so


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterRules:
    """The rules that hold among the members of one cluster.

    ``allowed_pools`` empty means any pool. ``one_cpu_level``: all members that hold data stand on hosts of one level.
    ``too_far``: pairs of sites that may not both hold data. ``together``: kinds of which all members stand in one domain.
    """

    name: str = ""
    apart: tuple[Apart, ...] = (Apart(kind="host"),)
    deputy_apart: tuple[str, ...] = ()
    majority_kinds: tuple[str, ...] = ()  # kinds of domain in which no one may hold half of the votes or more
    allowed_pools: tuple[str, ...] = ()
    one_cpu_level: bool = False
    too_far: tuple[tuple[str, str], ...] = ()
    together: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Survive:
    """One sentence of what a cluster must outlive, as scenarios, and what must then be left of it.

    In each scenario at least ``least_data`` members that hold data are left, more than half of the votes, and one that may
    lead where the design names any; and every machine that is displaced restarts on the survivors, that of others too
    where ``others_restart``.
    """

    cluster: str = ""
    sentence: str
    scenarios: tuple[Scenario, ...]
    least_data: int = 0
    others_restart: bool = True
    key: str = field(default="", compare=False)  # the row of the design that says so


@dataclass(frozen=True, slots=True, kw_only=True)
class Reserve:
    """What must still hold after a failure: the scenarios, what runs there already, and the hosts under those rules.

    ``apart_after``: clusters whose members share no host after a failure either.
    """

    survive: tuple[Survive, ...]
    machines: tuple[Running, ...] = ()
    stands: tuple[Stand, ...] = ()
    apart_after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """The whole question, of one cluster or several. ``settled`` is what stood before."""

    members: tuple[MemberNeed, ...]
    hosts: tuple[HostRoom, ...]
    pools: tuple[PoolRoom, ...] = ()
    clusters: tuple[ClusterRules, ...] = (ClusterRules(),)
    settled: tuple[Seat, ...] = ()
    reserve: Reserve | None = None

    def rules_of(self, member: MemberNeed) -> ClusterRules:
        """The rules of its cluster. Raises: KeyError: the question names no such cluster."""
        return {rules.name: rules for rules in self.clusters}[member.cluster]


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
    undecided: tuple[str, ...] = ()  # scenarios whose restarts were neither shown nor excluded
    short_alone: tuple[str, ...] = ()  # scenarios after which guests of others do not restart even without us
    stops: tuple[
        tuple[str, str], ...
    ] = ()  # (scenario, why) after which a cluster does not serve, wherever it stands

    def get_seat(self, member: str) -> Seat:
        """The seat of one member. Raises: KeyError: no such member."""
        return {seat.member: seat for seat in self.seats}[member]


@dataclass(frozen=True, slots=True, kw_only=True)
class BestShown:
    """No better placement exists; every level of the objective was proven."""

    placement: Placement


@dataclass(frozen=True, slots=True, kw_only=True)
class GoodWithBound:
    """A valid placement; on ``level`` it reaches ``reached``, and nothing can be below ``bound``.

    ``stopped``: the engineer broke the search off, and this is the best so far.
    """

    placement: Placement
    level: str
    reached: float
    bound: float
    stopped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ConflictRule:
    """One group of rules that takes part in a conflict, in words of the design."""

    name: str
    text: str
    key: str = ""  # the key of the design that asks for it, "" where the estate sets it
    cluster: str = ""  # whose design that is
    where: str = ""  # file, line and column, once somebody has looked them up


@dataclass(frozen=True, slots=True, kw_only=True)
class Mend:
    """One change after which a placement exists: shown by solving again. ``cost`` orders them, cheapest first."""

    text: str
    kind: str  # one of mends.KINDS
    cost: float


@dataclass(frozen=True, slots=True, kw_only=True)
class NoneExists:
    """Proven: no placement meets the rules. ``irreducible`` says whether each rule was shown to be needed.

    ``mends`` were each shown to help; of ``undecided_mends`` more that was not known within the limit. ``stopped``: broken
    off while looking for either.
    """

    conflict: tuple[ConflictRule, ...]
    irreducible: bool
    mends: tuple[Mend, ...] = ()
    undecided_mends: int = 0
    stopped: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class NotFoundInTime:
    """Neither found nor excluded within the limit. Says nothing about whether one exists."""

    limit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class InputInvalid:
    """The question itself is wrong; nothing was solved."""

    faults: tuple[Fault, ...] = field(default=())


Outcome = BestShown | GoodWithBound | NoneExists | NotFoundInTime | InputInvalid
