"""Any platform, by hand: a person does what a run card says, signs it, and the probes decide what is true.

No effect is carried out in here. A look answers with the card until the person has signed; what was only signed
and not seen is recorded as exactly that. Labels come from the package, in the order in which a person meets them.
"""

from collections.abc import Mapping
from pathlib import Path

from staddle.kernel import OurFault, format_binary
from staddle.plan.looks import Card, Look, NeedsPerson, Seen, Signature
from staddle.plan.orders import DiskOrder, MemberOrder, Plan
from staddle.plan.ports import NO_FILES, ConsoleText, DiskSource, Owned, Progress

__all__ = ["ByHandPlatform"]


class ByHandPlatform:
    """The Platform port for people. ``root`` is not used: nothing is kept outside the journal."""

    name = "by-hand"

    def __init__(self, root: Path) -> None:
        self._root = root

    def reach(self, address: str, port: int) -> tuple[str, int]:
        return address, port

    async def look_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        whole = [
            f"By itself it is no disk: its file holds only what differs from {', then '.join(disk.parents)}. "
            "Let the import of the package make it of all these files."
            for _ in disk.parents[:1]
        ]
        return _signed(
            signed,
            Card(
                title=f"Deliver disk {disk.name}",
                lines=(
                    f"Import the package's disk {disk.disk_id} into pool {disk.pool}, or let the import of the package do it.",
                    f"Allocation: {disk.allocation}.",
                    *whole,
                ),
                values=(
                    ("pool", disk.pool),
                    ("name", disk.name),
                    ("capacity", format_binary(disk.capacity_bytes)),
                ),
            ),
        )

    async def deliver_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, source: DiskSource | None, progress: Progress
    ) -> None:
        raise _never("deliver a disk")

    async def look_machine(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        values = [
            ("name", member.machine),
            ("host", member.host),
            ("size", member.size or "the only one"),
            ("processors", str(member.processors)),
            ("memory", format_binary(member.memory_bytes)),
        ]
        values += [(f"disk {disk.disk_id}", f"{disk.name} on {disk.pool}") for disk in member.disks]
        values += [(adapter.package_network, adapter.network) for adapter in member.adapters]
        values += [(what.lower(), value) for what, value in member.keeping]
        keep = [
            f'Set on the platform what stands below from "{what.lower()}" on: its own balancing would undo the placement.'
            for what, _ in member.keeping[:1]
        ]
        return _signed(
            signed,
            Card(
                title=f"Create machine {member.machine}",
                lines=(
                    f"Create the machine from the package on host {member.host}. Leave it powered off.",
                    f'Note in its description: "{plan.tag}".',
                    *keep,
                ),
                values=tuple(values),
            ),
        )

    async def create_machine(self, plan: Plan, member: MemberOrder) -> None:
        raise _never("create a machine")

    async def look_answers(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        labels = dict(member.labels)
        return _signed(
            signed,
            Card(
                title=f"Type the answers of {member.machine}",
                lines=("Type each value where the package asks for it; leave what is not listed as it is.",),
                values=tuple((labels.get(key, key), value) for key, value in member.answers),
                secret_values=tuple((labels.get(key, key), name) for key, name in member.secret_answers),
            ),
        )

    async def attach_answers(
        self, plan: Plan, member: MemberOrder, document: bytes, files: Mapping[str, bytes] = NO_FILES
    ) -> None:
        raise _never("attach answers")

    async def look_power(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        return _signed(
            signed,
            Card(
                title=f"Power on {member.machine}",
                lines=(
                    f"Make sure that nothing answers on {member.address}.",
                    f"Power on {member.machine} on {member.host} and open its console.",
                ),
            ),
        )

    async def power_on(self, plan: Plan, member: MemberOrder) -> None:
        raise _never("power on")

    async def read_console(self, plan: Plan, member: MemberOrder) -> ConsoleText | Card:
        return Card(
            title=f"Read the fingerprint on the console of {member.machine}",
            lines=(
                f"Open the console of {member.machine} on {member.host}.",
                "Type the certificate's SHA-256 fingerprint in full, as the console shows it.",
                "Do not copy it from a browser: that would compare the wire with itself.",
            ),
            entry="SHA-256 fingerprint",
        )

    async def look_ejected(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        return _signed(
            signed,
            Card(
                title=f"Eject the answers of {member.machine}",
                lines=(
                    "Disconnect the CD or clear the answers that hold the first password.",
                    "Delete the file they came from.",
                ),
            ),
        )

    async def eject_answers(self, plan: Plan, member: MemberOrder) -> None:
        raise _never("eject answers")

    async def look_removed(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        return _signed(
            signed,
            Card(
                title=f"Remove machine {member.machine}",
                lines=(
                    f"On host {member.host}: check that the machine's description holds {plan.tag!r}. If not, stop.",
                    "Power it off and remove it. What was written in it is lost.",
                ),
            ),
        )

    async def remove_machine(self, plan: Plan, member: MemberOrder) -> None:
        raise _never("remove a machine")

    async def look_disk_removed(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        return _signed(
            signed,
            Card(
                title=f"Remove disk {disk.name}",
                lines=(f"Make sure that {disk.name} is gone from pool {disk.pool}.",),
            ),
        )

    async def remove_disk(self, plan: Plan, member: MemberOrder, disk: DiskOrder) -> None:
        raise _never("remove a disk")

    async def inventory(self, tag: str) -> tuple[Owned, ...]:
        return ()


def _signed(signature: Signature | None, card: Card) -> Look:
    if signature is None:
        return NeedsPerson(card=card)
    evidence: dict[str, object] = {
        "signed_by": signature.by,
        "signed_at": signature.at.isoformat(),
        "seen": False,
    }
    if signature.entry:
        evidence["note"] = signature.entry
    return Seen(evidence=evidence)


def _never(what: str) -> OurFault:
    return OurFault.one(f"the by-hand platform was asked to {what}", why="only people do that there")
