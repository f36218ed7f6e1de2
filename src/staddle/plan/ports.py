"""The ports through which steps reach the world: Platform, Appliance, Wire, and the bundle of tools.

A platform makes machines, an appliance speaks the protocol of what runs in them, a wire carries bytes to an
address. Adapters live two ranks up (platforms/, appliances/, probes/) and are handed in by jobs/.

Promises that every adapter keeps, held by the conformance suites in tests/:
* looking changes nothing;
* acting twice leaves what acting once leaves; whatever is made carries the plan's tag;
* ``OutsideFailed`` means the effect did not happen, ``OutcomeUnknown`` that nobody knows;
* nothing without the tag is ever changed or removed.
"""

from collections.abc import Awaitable, Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import BinaryIO, Final, Protocol

from staddle.kernel import Clock, OutsideFailed, Random
from staddle.plan.looks import Card, Look, NotYet, Signature
from staddle.plan.orders import DiskOrder, MemberOrder, Plan, RoomOrder
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secrets import Secret

__all__ = [
    "NO_FILES",
    "Appliance",
    "ConsoleText",
    "DiskSource",
    "Health",
    "Owned",
    "Platform",
    "Progress",
    "Room",
    "SeenMember",
    "Target",
    "Tools",
    "Vault",
    "View",
    "Wire",
    "WireReply",
    "WrongCertificate",
]

Progress = Callable[[int, int], None]
"""Called with (bytes done, bytes in all, 0 if unknown). May raise to stop the work."""

NO_FILES: Final[Mapping[str, bytes]] = MappingProxyType({})
"""Of a package whose maker wants nothing beside the environment document."""

DiskSource = Callable[[], AbstractContextManager[BinaryIO]]
"""Opens the stream that fills a disk, joined and decompressed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Owned:
    """One thing on a platform that carries a tag of ours."""

    kind: str  # "machine", "disk" or "cd"
    name: str
    platform_id: str
    tag: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConsoleText:
    """What a machine's console shows, as text; the second channel."""

    text: str


class Platform(Protocol):
    """Makes machines on hosts. ``signed`` is a person's word for this step, or None; only by-hand work uses it."""

    name: str

    def reach(self, address: str, port: int) -> tuple[str, int]:
        """Where a member's configured address and port are really reached from here."""
        ...

    async def look_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        """Whether the disk is on its pool, whole, and ours."""
        ...

    async def deliver_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, source: DiskSource | None, progress: Progress
    ) -> None:
        """Write the disk. An interrupted delivery leaves nothing that ``look_disk`` would take for whole."""
        ...

    async def look_machine(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        """Whether the machine exists on its host with its disks and adapters, and is ours."""
        ...

    async def create_machine(self, plan: Plan, member: MemberOrder) -> None:
        """Define the machine, powered off."""
        ...

    async def look_answers(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        """Whether the answers are attached."""
        ...

    async def attach_answers(
        self, plan: Plan, member: MemberOrder, document: bytes, files: Mapping[str, bytes] = NO_FILES
    ) -> None:
        """Attach the environment document, and the maker's files per path below /ovffiles/.

        They hold secrets: owner-only rights wherever they lie.
        """
        ...

    async def look_power(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        """Whether the machine runs. A machine that has stopped by itself is Wrong, with its last words."""
        ...

    async def power_on(self, plan: Plan, member: MemberOrder) -> None:
        """Start the machine."""
        ...

    async def read_console(self, plan: Plan, member: MemberOrder) -> ConsoleText | Card:
        """The console's text so far, or the card by which a person reads it."""
        ...

    async def look_ejected(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        """Whether the answers are detached and deleted."""
        ...

    async def eject_answers(self, plan: Plan, member: MemberOrder) -> None:
        """Detach and delete the environment document and whatever holds it."""
        ...

    async def look_removed(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        """Whether no machine of ours of that name is left."""
        ...

    async def remove_machine(self, plan: Plan, member: MemberOrder) -> None:
        """Stop and remove the machine with its answers, if it carries our tag. Its disks stay."""
        ...

    async def look_disk_removed(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        """Whether no disk of ours of that name is left, in part or whole."""
        ...

    async def remove_disk(self, plan: Plan, member: MemberOrder, disk: DiskOrder) -> None:
        """Remove the disk, if it carries our tag."""
        ...

    async def inventory(self, tag: str) -> tuple[Owned, ...]:
        """Everything on the platform that carries this tag, sorted by kind and name."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class WireReply:
    """A complete reply. ``body`` is parsed JSON, or None where the reply had none.

    ``sent_at`` and ``received_at`` stand just around the request, without the handshake before it.
    """

    status: int
    body: object
    sent_at: datetime
    received_at: datetime


class WrongCertificate(OutsideFailed):
    """Whoever answers shows another certificate than the confirmed one; nothing was sent. No waiting mends that."""


class Wire(Protocol):
    """Carries bytes to an address. Every method has its own deadline in seconds."""

    async def probe_tcp(self, address: str, port: int, *, timeout_s: float) -> NotYet | None:
        """None when something answers there; otherwise why not."""
        ...

    async def read_certificate(self, address: str, port: int, *, timeout_s: float) -> bytes | NotYet:
        """The leaf certificate's DER, untrusted; nothing but the handshake is sent."""
        ...

    async def call(
        self,
        address: str,
        port: int,
        *,
        pinned: Fingerprint,
        method: str,
        path: str,
        user: str,
        secret: Secret | None,
        body: object,
        timeout_s: float,
    ) -> WireReply:
        """One request on a connection whose certificate was compared with ``pinned`` before a byte was sent.

        Raises: OutsideFailed: certainly not carried out, and of it WrongCertificate; OutcomeUnknown: sent, no complete
            reply.
        """
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One member as it is spoken to."""

    member: str
    address: str
    port: int
    pinned: Fingerprint
    user: str = ""
    secret: Secret | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """What a member says of itself. ``clock_offset_ms`` is its clock against ours, by RFC 5905 §8."""

    healthy: bool
    in_cluster: bool
    name: str
    version: str
    processors: int
    memory_mib: int
    clock_offset_ms: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenMember:
    """One member in the eyes of another. ``heard`` is true for itself."""

    name: str
    address: str
    fingerprint: str
    heard: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """How one member sees the cluster."""

    cluster_id: str
    cluster: str
    leader: str
    deputy: str
    members: tuple[SeenMember, ...]


class Appliance(Protocol):
    """Speaks with what runs in the machines. Raises as ``Wire.call``; a clear "no" of the appliance is OutsideFailed."""

    port: int
    user: str
    password_property: str

    async def health(self, target: Target) -> Health | NotYet:
        """What the member says of itself, without credentials."""
        ...

    async def view(self, target: Target) -> View | NotYet:
        """How the member sees the cluster; NotYet when it is in none."""
        ...

    async def found(self, target: Target, cluster: str) -> None:
        """Make the first member the whole of a new cluster. Repeating it on the founder changes nothing."""
        ...

    async def issue_join_secret(self, leader: Target, member: str, lifetime_s: int) -> Secret:
        """A one-use secret for that member. An earlier unused one for it ends."""
        ...

    async def join(self, target: Target, leader: Target, secret: Secret) -> None:
        """Let a member join, told its leader's address and fingerprint."""
        ...

    async def carry_act(self, act: str, target: Target, values: Mapping[str, str]) -> None:
        """Carry out an act that only the profile knows."""
        ...

    async def look_act(self, act: str, target: Target, values: Mapping[str, str]) -> Look:
        """Whether the act's goal is seen."""
        ...

    async def change_password(self, leader: Target, new: Secret) -> None:
        """Replace the administrator's password in the whole cluster."""
        ...

    async def accepts(self, target: Target) -> bool:
        """Whether the member accepts the target's user and secret."""
        ...

    async def write(self, target: Target, key: str, value: str) -> None:
        """Write one value through this member."""
        ...

    async def read(self, target: Target, key: str) -> str | None:
        """Read one value through this member; None where it has none."""
        ...


class Vault(Protocol):
    """The strongbox as steps see it."""

    def get(self, name: str) -> Secret: ...
    def find(self, name: str) -> Secret | None: ...
    def put(self, name: str, secret: Secret) -> None: ...
    def drop(self, name: str) -> None: ...


class Room(Protocol):
    """The register of bookings as steps see it."""

    def look(self, rooms: tuple[RoomOrder, ...], tag: str) -> Look: ...
    def book(self, rooms: tuple[RoomOrder, ...], tag: str) -> None: ...
    def release(self, tag: str) -> None: ...
    def look_released(self, tag: str) -> Look: ...


@dataclass(frozen=True, kw_only=True)
class Tools:
    """Everything that a step may touch. ``evidence`` is what the journal holds of steps that were seen done."""

    plan: Plan
    platform: Platform
    appliance: Appliance
    wire: Wire
    vault: Vault
    room: Room
    clock: Clock
    random: Random
    evidence: Callable[[str], Mapping[str, object] | None]
    signature: Callable[[str], Signature | None]
    verify_package: Callable[[Progress], Awaitable[Look]]
    open_disk: Callable[[DiskOrder], DiskSource | None]  # None: an empty disk
    answers_document: Callable[[MemberOrder], bytes]
    answers_files: Callable[[], Mapping[str, bytes]]
    prove: Callable[[], Awaitable[Look]]
    progress: Callable[[str, int, int], None]  # (step id, done, all)
