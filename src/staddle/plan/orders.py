"""Orders: everything the steps of one rollout need to know, as frozen values that the journal pins.

An order never holds a secret, only the name under which the strongbox holds it.
Names of machines and disks are deterministic, so that a repeat finds what an earlier try made.
"""

from dataclasses import dataclass

__all__ = [
    "AdapterOrder",
    "ClusterStep",
    "DiskOrder",
    "MemberOrder",
    "Plan",
    "RoomOrder",
    "Step",
    "machine_name",
]


def machine_name(job: str, member: str) -> str:
    """The name of a member's machine: it tells the job, once."""
    return member if member.startswith(job) else f"{job}-{member}"


@dataclass(frozen=True, slots=True, kw_only=True)
class DiskOrder:
    """One disk of one member: its name on the pool, and the package's file that fills it (None: an empty disk)."""

    name: str
    disk_id: str
    pool: str
    capacity_bytes: int
    allocation: str  # "thick" or "thin"
    file_id: str | None
    file_bytes: int  # as stored in the package; what is sent over the line
    # Of each part in which the package holds the file, as verified when the rollout was planned.
    file_sha256: tuple[str, ...] = ()
    parents: tuple[
        str, ...
    ] = ()  # disks of the package without which the file is none: it holds only what differs


@dataclass(frozen=True, slots=True, kw_only=True)
class AdapterOrder:
    """One network adapter and the estate's network that it is attached to."""

    name: str
    package_network: str
    network: str
    address: str
    prefix_length: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberOrder:
    """One member as it is to be made. ``answers`` are plain; ``secret_answers`` map a key to a strongbox name."""

    member: str
    machine: str
    fqdn: str
    site: str
    host: str
    size: str
    processors: int
    memory_bytes: int
    disks: tuple[DiskOrder, ...]
    adapters: tuple[AdapterOrder, ...]
    address: str
    port: int
    answers: tuple[tuple[str, str], ...]
    secret_answers: tuple[tuple[str, str], ...]
    labels: tuple[
        tuple[str, str], ...
    ] = ()  # (key, what the package calls it), in the order a person meets them
    data: bool = True
    votes: bool = True
    leads: str = "never"
    keeping: tuple[tuple[str, str], ...] = ()  # (what, value) to set on the platform, so that it stays there

    def get_disk(self, disk_id: str) -> DiskOrder:
        """One disk. Raises: KeyError: no such disk."""
        return {disk.disk_id: disk for disk in self.disks}[disk_id]


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomOrder:
    """Room to be booked for one member on its host, and on its pools as (pool, bytes promised, bytes written)."""

    member: str
    host: str
    memory_bytes: int
    vcpus: int
    pools: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ClusterStep:
    """A step that the profile adds once all members are in: an act, where it is asked for, and with which values."""

    name: str
    title: str
    act: str
    look: str
    values: tuple[tuple[str, str], ...] = ()
    after: str = "all"  # "all": when every member was seen; otherwise the name of an earlier cluster step


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step. ``step_id`` is stable over repeats: subject/kind. ``needs`` are ids of steps seen done before."""

    step_id: str
    kind: str
    member: str = ""  # "" for the cluster
    subject: str = ""  # a disk's id, or a cluster step's name
    site: str = ""
    needs: tuple[str, ...] = ()
    resources: tuple[str, ...] = ()  # one unit each of what is limited


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """One whole rollout. ``tag`` marks everything that it makes; ``limits`` bound what runs at the same time."""

    job: str
    cluster: str
    tag: str
    purpose: str  # "rollout" or "rehearsal"
    package_sha256: str
    join_secret_s: int
    most_offset_ms: int
    fingerprint_source: str
    zone: str
    product: str
    version: str
    members: tuple[MemberOrder, ...]
    rooms: tuple[RoomOrder, ...]
    cluster_steps: tuple[ClusterStep, ...]
    steps: tuple[Step, ...]
    limits: tuple[tuple[str, int], ...] = ()

    def get_member(self, member: str) -> MemberOrder:
        """One member's order. Raises: KeyError: no such member."""
        return {order.member: order for order in self.members}[member]

    def get_step(self, step_id: str) -> Step:
        """One step. Raises: KeyError: no such step."""
        return {step.step_id: step for step in self.steps}[step_id]

    def get_cluster_step(self, name: str) -> ClusterStep:
        """One cluster step of the profile. Raises: KeyError: no such step."""
        return {step.name: step for step in self.cluster_steps}[name]

    def leader(self) -> MemberOrder:
        """The member that founds the cluster."""
        return next(order for order in self.members if order.leads == "first")
