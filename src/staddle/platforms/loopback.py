"""The loopback platform: machines are stand-in processes on loopback addresses, everything else is real.

Hosts and pools are folders below one root. Used for rehearsals, the demo and the tests; it never touches the
estate. A disk is written once into its pool, as the package delivers it, and not grown to its capacity. The answers lie in
the machine's drive as an ISO image, as a hypervisor would attach it; the machine reads them from there.
"""

import asyncio
import contextlib
import errno
import fcntl
import hashlib
import io
import os
import signal
import subprocess
import sys
import threading
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import BinaryIO, Final

from staddle.kernel import InputRefused, OutsideFailed, canonical_json, from_json
from staddle.kernel.wholefile import leftovers
from staddle.package import EnvironmentDisc, read_environment_image, write_environment_image
from staddle.plan.looks import Card, Look, NotYet, Seen, Signature, Wrong
from staddle.plan.orders import DiskOrder, MemberOrder, Plan
from staddle.plan.ports import NO_FILES, ConsoleText, DiskSource, Owned, Progress
from staddle.platforms.loopback_map import LoopbackMap
from staddle.platforms.loopback_room import (
    find_belonging,
    find_leftover,
    foreign_fault,
    make_folder,
    remove_folder,
    write_file,
)

__all__ = ["LoopbackPlatform", "LoopbackSettings"]

_CHUNK: Final = 1 << 20
_DISC: Final = "answers.iso"
_LAST_WORDS: Final = 3
_STOP_S: Final = 5.0
_STARTING: Final = 0  # no process has this number


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopbackSettings:
    """What a rehearsal may be told. ``speed`` scales the stand-ins' heartbeats; kept in settings.json."""

    block: int = 64
    one_address: bool = not sys.platform.startswith("linux")
    speed: float = 0.3


class LoopbackPlatform:
    """The Platform port on folders and processes.

    Args: root: the folder that holds everything; it is made with owner-only rights.
    """

    name = "loopback"

    def __init__(self, root: Path) -> None:
        self._root = root
        root.mkdir(mode=0o700, parents=True, exist_ok=True)
        settings = root / "settings.json"
        if not settings.exists():
            write_file(settings, canonical_json(LoopbackSettings()))
        self._settings = from_json(settings.read_bytes(), LoopbackSettings, where=str(settings))
        self._map = LoopbackMap(block=self._settings.block, one_address=self._settings.one_address)

    def reach(self, address: str, port: int) -> tuple[str, int]:
        return self._map.reach(address, port)

    # Disks

    def _disk(self, disk: DiskOrder) -> Path:
        return self._root / "pools" / disk.pool / disk.name

    async def look_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        folder = self._disk(disk)
        if fault := foreign_fault(folder, plan.tag):
            return Wrong(fault=fault)
        whole = folder / "whole.json"
        belonging = find_belonging(folder)
        try:
            told = from_json(whole.read_bytes(), dict[str, str | int], where=str(whole))
            size_bytes = (folder / "content").stat().st_size
        except FileNotFoundError:
            return NotYet(why="the disk is not there, or not whole")
        except InputRefused as exc:
            return NotYet(why=exc.faults[0].what)
        if belonging is None or size_bytes != told.get("bytes"):
            return NotYet(why="the disk is not whole")
        return Seen(evidence={"platform_id": belonging.platform_id, "pool": disk.pool, **told})

    async def deliver_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, source: DiskSource | None, progress: Progress
    ) -> None:
        folder = self._disk(disk)
        if fault := foreign_fault(folder, plan.tag):
            raise OutsideFailed(fault)
        if isinstance(await self.look_disk(plan, member, disk, None), Seen):
            return  # a machine may run on it: what is whole is never written anew
        cancelled = threading.Event()
        work = asyncio.get_running_loop().run_in_executor(
            None, self._write_disk, folder, plan.tag, member, disk, source, progress, cancelled
        )
        try:
            await asyncio.shield(work)
        except asyncio.CancelledError:
            cancelled.set()  # the copy stops at its next block: no effect outlives the runner's lease
            with contextlib.suppress(Exception):
                await work
            raise

    def _write_disk(
        self,
        folder: Path,
        tag: str,
        member: MemberOrder,
        disk: DiskOrder,
        source: DiskSource | None,
        progress: Progress,
        cancelled: threading.Event,
    ) -> None:
        # A name of its own: a writer that was held up and has lost its lease must not write into the next one's file.
        written = part = folder / f"content.part-{uuid.uuid4().hex}"
        try:
            make_folder(folder, tag=tag, facts={"member": member.member, "disk": disk.disk_id})
            for left in folder.glob("content.part*"):
                left.unlink(
                    missing_ok=True
                )  # what a killed try has left; a living writer's rename will then fail
            digest = hashlib.sha256()
            done = 0
            with part.open("xb") as sink, contextlib.ExitStack() as stack:
                stream = stack.enter_context(source()) if source is not None else None
                while stream is not None and (block := stream.read(_CHUNK)):
                    if cancelled.is_set():
                        raise OutsideFailed.one("the delivery was stopped", where=disk.name)
                    sink.write(block)
                    digest.update(block)
                    done += len(block)
                    progress(done, 0)
                sink.flush()
                os.fsync(sink.fileno())
            written = part.rename(folder / "content")
            write_file(folder / "whole.json", canonical_json({"bytes": done, "sha256": digest.hexdigest()}))
        except (OSError, OutsideFailed) as exc:
            cause = exc.__cause__ if isinstance(exc, OutsideFailed) else exc
            if not isinstance(cause, OSError):
                raise  # not ours, or stopped
            # What is left of it would only keep the room from whoever mends this.
            with contextlib.suppress(OSError):
                written.unlink(missing_ok=True)
            full = cause.errno in (errno.ENOSPC, errno.EDQUOT)
            raise OutsideFailed.one(
                f"pool {disk.pool} is full" if full else f"pool {disk.pool} refuses: {cause.strerror}",
                where=f"disk {disk.name} of {member.member}",
                why=f"its file could not be written whole: {cause.strerror}; what was written of it is removed",
                mend="make room on the pool" if full else "mend the pool, then run the same command again",
            ) from exc

    async def look_disk_removed(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        return self._look_gone(self._disk(disk), plan.tag)

    async def remove_disk(self, plan: Plan, member: MemberOrder, disk: DiskOrder) -> None:
        remove_folder(self._disk(disk), tag=plan.tag)

    # Machines

    def _machine(self, member: MemberOrder) -> Path:
        return self._root / "hosts" / member.host / member.machine

    def _own_machine(self, plan: Plan, member: MemberOrder) -> Path:
        """The machine's folder. Raises: OutsideFailed: it is not there, or not ours; nothing was changed."""
        folder = self._machine(member)
        if fault := foreign_fault(folder, plan.tag):
            raise OutsideFailed(fault)
        if not folder.exists():
            raise OutsideFailed.one(
                f"machine {member.machine} is not there",
                where=member.host,
                mend="run the same command again; it is created first",
            )
        return folder

    async def look_machine(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        folder = self._machine(member)
        if fault := foreign_fault(folder, plan.tag):
            return Wrong(fault=fault)
        belonging = find_belonging(folder)
        if belonging is None:
            return NotYet(why="the machine does not exist")
        return Seen(
            evidence={"platform_id": belonging.platform_id, "host": member.host, "machine": member.machine}
        )

    async def create_machine(self, plan: Plan, member: MemberOrder) -> None:
        for disk in member.disks:
            if not isinstance(await self.look_disk(plan, member, disk, None), Seen):
                raise OutsideFailed.one(
                    f"disk {disk.name} is not whole on {disk.pool}",
                    where=member.machine,
                    mend="run the same command again; the disk is delivered first",
                )
        facts = {
            "member": member.member,
            "processors": member.processors,
            "memory_bytes": member.memory_bytes,
            "disks": [disk.name for disk in member.disks],
            "networks": [adapter.network for adapter in member.adapters],
        }
        make_folder(self._machine(member), tag=plan.tag, facts=facts)

    async def look_answers(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        if not isinstance(machine := await self.look_machine(plan, member, signed), Seen):
            return machine
        folder = self._machine(member)
        if (folder / "ejected").exists() or (folder / _DISC).exists():
            return Seen(evidence={"attached_to": member.machine})
        return NotYet(why="no answers are attached")

    async def attach_answers(
        self, plan: Plan, member: MemberOrder, document: bytes, files: Mapping[str, bytes] = NO_FILES
    ) -> None:
        disc = self._own_machine(plan, member) / _DISC
        wanted = EnvironmentDisc(document=document, files=dict(files))
        with contextlib.suppress(FileNotFoundError, InputRefused), disc.open("rb") as file:
            if read_environment_image(file) == wanted:
                return  # an image tells when it was made: another one would not be the same
        image = io.BytesIO()
        contents = {path: (io.BytesIO(content), len(content)) for path, content in files.items()}
        write_environment_image(image, document, made_at=datetime.now(UTC), files=contents)
        if read_environment_image(image) != wanted:
            raise OutsideFailed.one("the disc does not hold the answers as they are", where=member.machine)
        for left in leftovers(disc):
            left.unlink(missing_ok=True)  # a part of a disc, with secrets in it, that a killed try has left
        write_file(disc, image.getvalue())

    async def look_ejected(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        folder = self._machine(member)
        if (folder / _DISC).exists() or not (folder / "ejected").exists():
            return NotYet(why="the answers are still attached")
        return Seen(evidence={"machine": member.machine})

    async def eject_answers(self, plan: Plan, member: MemberOrder) -> None:
        folder = self._own_machine(plan, member)
        write_file(folder / "ejected", b"")
        attached = folder / _DISC
        for place in (
            attached,
            *leftovers(attached),
        ):  # a kill in the middle of attaching leaves one with secrets in it
            place.unlink(missing_ok=True)

    async def look_power(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        if not isinstance(machine := await self.look_machine(plan, member, signed), Seen):
            return machine
        folder = self._machine(member)
        pid = _running_pid(folder)
        if pid == _STARTING:
            return NotYet(why="the machine is starting")
        if pid is not None:
            return Seen(evidence={"process": pid})
        words = (
            (self._text(folder / "console") or self._text(folder / "boot.log"))
            .strip()
            .splitlines()[-_LAST_WORDS:]
        )
        if not words:
            return NotYet(why="the machine does not run yet")
        return NotYet(
            why="the machine has stopped; its console ends with: " + " / ".join(words), hopeless=True
        )

    async def power_on(self, plan: Plan, member: MemberOrder) -> None:
        folder = self._own_machine(plan, member)
        if not _cleared_lock(folder):
            return  # it runs, and its console must not go while it writes to it
        (folder / "console").unlink(missing_ok=True)  # a fresh start has a fresh screen
        maker = f"{sys.executable} -m staddle.platforms.loopback_certificate"
        command = [sys.executable, "-m", "staddle.standin", "--certificate-maker", maker]
        command += ["--answers", str(folder / _DISC), "--state", str(folder / "state")]
        command += ["--console", str(folder / "console"), "--speed", str(self._settings.speed)]
        command += ["--processors", str(member.processors), "--memory-mib", str(member.memory_bytes >> 20)]
        command += ["--port", str(member.port)]
        for configured, real in self._map.address_maps():
            command += ["--address-map", f"{configured}={real}"]
        if self._settings.one_address:
            for other in plan.members:
                command += ["--port-map", f"{other.address}={self.reach(other.address, other.port)[1]}"]
        launcher = [sys.executable, "-m", "staddle.platforms.loopback_launch", str(folder / "lock"), *command]
        with _boot_log(folder) as boot:
            # The launcher ends as soon as the machine has its lock: what it leaves is nobody's child, outlives the
            # program as a machine does, and is never ours to wait for.
            await asyncio.to_thread(
                subprocess.run,
                launcher,
                stdin=subprocess.DEVNULL,
                stdout=boot,
                stderr=boot,
                # It outlives the program, and what unlocks the program's secrets is no business of a machine.
                env={name: text for name, text in os.environ.items() if not name.startswith("STADDLE_")},
                start_new_session=True,
                check=False,
            )

    async def read_console(self, plan: Plan, member: MemberOrder) -> ConsoleText | Card:
        return ConsoleText(text=self._text(self._machine(member) / "console"))

    async def look_removed(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        return self._look_gone(self._machine(member), plan.tag)

    async def remove_machine(self, plan: Plan, member: MemberOrder) -> None:
        folder = self._machine(member)
        if fault := foreign_fault(folder, plan.tag):
            raise OutsideFailed(fault)
        pid = _running_pid(folder)
        for _ in range(int(_STOP_S / 0.05)):
            if pid != _STARTING:
                break
            await asyncio.sleep(0.05)
            pid = _running_pid(folder)
        if pid == _STARTING:
            raise OutsideFailed.one(
                f"machine {member.machine} does not say which process it is", where=str(folder)
            )
        if pid is not None:
            with contextlib.suppress(ProcessLookupError):
                os.kill(pid, signal.SIGTERM)
            if not await _stopped(folder):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)
                if not await _stopped(folder):
                    raise OutsideFailed.one(f"machine {member.machine} does not stop", where=f"process {pid}")
        remove_folder(folder, tag=plan.tag)

    async def inventory(self, tag: str) -> tuple[Owned, ...]:
        owned = []
        for kind, folder in (("disk", self._root / "pools"), ("machine", self._root / "hosts")):
            for item in sorted(folder.glob("*/*")):
                belonging = find_belonging(item)
                if not item.name.startswith(".") and belonging is not None and belonging.tag == tag:
                    owned.append(Owned(kind=kind, name=item.name, platform_id=belonging.platform_id, tag=tag))
        return tuple(sorted(owned, key=lambda thing: (thing.kind, thing.name)))

    def _look_gone(self, folder: Path, tag: str) -> Look:
        if (left := find_leftover(folder, tag)) is not None:
            return NotYet(why=f"a part of {folder.name} is still there: {left.name}")
        if foreign_fault(folder, tag) is not None or not folder.exists():
            return Seen(evidence={"left": "nothing of ours"})
        return NotYet(why=f"{folder.name} is still there")

    def _text(self, file: Path) -> str:
        try:
            return file.read_text(encoding="utf-8", errors="replace")
        except (FileNotFoundError, NotADirectoryError):
            return ""


def _running_pid(folder: Path) -> int | None:
    """The process that holds the machine's lock; None if nobody does, ``_STARTING`` before it has said who it is.

    The lock is tried in shared mode: the machine holds it exclusively, and two who look at the same time never take
    each other for it, which would make the number of an ended process look alive.
    """
    try:
        lock = os.open(folder / "lock", os.O_RDWR)
    except FileNotFoundError:
        return None
    try:
        fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        text = os.pread(lock, 32, 0).decode()
        return int(text) if text else _STARTING
    else:
        return None
    finally:
        os.close(lock)


def _cleared_lock(folder: Path) -> bool:
    """Take the number of an earlier process out of the lock; False if a process holds it.

    Otherwise a look in the instant between the next starter's lock and its number would read the old one.
    """
    lock = os.open(folder / "lock", os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    else:
        os.ftruncate(lock, 0)
        return True
    finally:
        os.close(lock)


def _boot_log(folder: Path) -> BinaryIO:
    try:
        return (folder / "boot.log").open("wb")
    except OSError as exc:
        raise OutsideFailed.one(
            f"the machine cannot be started: {exc.strerror}",
            where=str(folder),
            mend="mend the disk or its rights, then run the same command again",
        ) from exc


async def _stopped(folder: Path) -> bool:
    for _ in range(int(_STOP_S / 0.05)):
        if _running_pid(folder) is None:
            return True
        await asyncio.sleep(0.05)
    return False
