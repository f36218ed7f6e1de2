"""A second platform, written only to show that one can be added from outside: machines in a shed, all in one folder.

It uses the port and nothing else of the program: a package of its own would hold this file and one entry point.
A disk is a file with a label beside it; a machine is a folder with a label in it and a process.
"""

import asyncio
import errno
import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import uuid
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from staddle.kernel import Fault, OutsideFailed
from staddle.plan.looks import Look, NotYet, Seen, Signature, Wrong
from staddle.plan.orders import DiskOrder, MemberOrder, Plan
from staddle.plan.ports import NO_FILES, ConsoleText, DiskSource, Owned, Progress


class ShedPlatform:
    """The Platform port in one folder. ``settings.json`` in it: block of addresses, and the program in the machines."""

    name = "shed"

    def __init__(self, root: Path) -> None:
        self._root = root
        root.mkdir(mode=0o700, parents=True, exist_ok=True)
        settings: dict[str, Any] = json.loads((root / "settings.json").read_text())
        self._block: int = settings["block"]
        self._program: list[str] = settings["program"]

    def reach(self, address: str, port: int) -> tuple[str, int]:
        return f"127.{self._block}.2.{address.rpartition('.')[2]}", port

    def _disk(self, disk: DiskOrder) -> Path:
        return self._root / disk.pool / f"{disk.name}.disk"

    def _machine(self, member: MemberOrder) -> Path:
        return self._root / f"{member.machine}.machine"

    def _label(self, thing: Path) -> Path:
        return thing / "label" if thing.suffix == ".machine" else thing.with_suffix(".label")

    def _read(self, thing: Path) -> dict[str, Any]:
        try:
            label: dict[str, Any] = json.loads(self._label(thing).read_text())
        except (FileNotFoundError, NotADirectoryError, json.JSONDecodeError):
            return {"tag": None}
        return label

    def _write(self, thing: Path, label: dict[str, Any]) -> None:
        fresh = self._label(thing).with_name(f"{self._label(thing).name}.fresh")
        fresh.write_text(json.dumps(label))
        fresh.rename(self._label(thing))

    def _foreign(self, plan: Plan, thing: Path) -> Fault | None:
        if not (thing.exists() or self._label(thing).exists()) or self._read(thing)["tag"] == plan.tag:
            return None
        return Fault(what=f"{thing.name} is not ours", mend="give one of the two another name")

    def _own(self, plan: Plan, thing: Path) -> Path:
        if (fault := self._foreign(plan, thing)) is not None:
            raise OutsideFailed(fault)
        return thing

    async def look_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        thing = self._disk(disk)
        if fault := self._foreign(plan, thing):
            return Wrong(fault=fault)
        label = self._read(thing)
        if not thing.exists() or label.get("sha256") is None:
            return NotYet(why="the disk is not there, or not whole")
        return Seen(evidence={"platform_id": label["id"], "sha256": label["sha256"]})

    async def deliver_disk(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, source: DiskSource | None, progress: Progress
    ) -> None:
        thing = self._own(plan, self._disk(disk))
        if isinstance(await self.look_disk(plan, member, disk, None), Seen):
            return
        digest, done = hashlib.sha256(), 0
        try:
            thing.parent.mkdir(exist_ok=True)
            label = {"tag": plan.tag, "id": str(uuid.uuid4()), "sha256": None, "kind": "disk"}
            self._write(thing, label)
            with thing.open("wb") as sink:
                if source is not None:
                    with source() as stream:
                        while block := await asyncio.to_thread(stream.read, 1 << 20):
                            sink.write(block)
                            digest.update(block)
                            done += len(block)
                            progress(done, 0)
                sink.flush()
                os.fsync(sink.fileno())
            self._write(thing, {**label, "sha256": digest.hexdigest()})
        except OSError as exc:
            thing.unlink(missing_ok=True)
            full = exc.errno == errno.ENOSPC
            raise OutsideFailed.one(
                "the shed is full" if full else f"the shed refuses: {exc.strerror}"
            ) from exc

    async def look_disk_removed(
        self, plan: Plan, member: MemberOrder, disk: DiskOrder, signed: Signature | None
    ) -> Look:
        return self._look_gone(plan, self._disk(disk))

    def _look_gone(self, plan: Plan, thing: Path) -> Look:
        if self._read(thing)["tag"] == plan.tag:
            return NotYet(why=f"{thing.name} is still there")
        return Seen()

    async def remove_disk(self, plan: Plan, member: MemberOrder, disk: DiskOrder) -> None:
        thing = self._own(plan, self._disk(disk))
        thing.unlink(missing_ok=True)
        self._label(thing).unlink(missing_ok=True)

    async def look_machine(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        thing = self._machine(member)
        if fault := self._foreign(plan, thing):
            return Wrong(fault=fault)
        label = self._read(thing)
        if label["tag"] is None:
            return NotYet(why="there is no such machine")
        return Seen(evidence={"platform_id": label["id"]})

    async def create_machine(self, plan: Plan, member: MemberOrder) -> None:
        for disk in member.disks:
            if not isinstance(await self.look_disk(plan, member, disk, None), Seen):
                raise OutsideFailed.one(f"disk {disk.name} is not whole")
        thing = self._own(plan, self._machine(member))
        if not thing.exists():
            fresh = thing.with_name(f"making-{thing.name}")
            shutil.rmtree(fresh, ignore_errors=True)
            fresh.mkdir(mode=0o700)
            (fresh / "label").write_text(
                json.dumps({"tag": plan.tag, "id": str(uuid.uuid4()), "kind": "machine"})
            )
            fresh.rename(thing)

    async def look_answers(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        if not isinstance(machine := await self.look_machine(plan, member, signed), Seen):
            return machine
        thing = self._machine(member)
        there = (thing / "answers").exists() or (thing / "ejected").exists()
        return Seen() if there else NotYet(why="no answers")

    async def attach_answers(
        self, plan: Plan, member: MemberOrder, document: bytes, files: Mapping[str, bytes] = NO_FILES
    ) -> None:
        thing = self._own(plan, self._machine(member))
        with os.fdopen(os.open(thing / "fresh", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "wb") as file:
            file.write(document)
        (thing / "fresh").rename(thing / "answers")

    async def look_ejected(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        thing = self._machine(member)
        if (thing / "answers").exists() or not (thing / "ejected").exists():
            return NotYet(why="the answers are still there")
        return Seen()

    async def eject_answers(self, plan: Plan, member: MemberOrder) -> None:
        thing = self._own(plan, self._machine(member))
        (thing / "ejected").touch()
        (thing / "answers").unlink(missing_ok=True)

    def _process(self, thing: Path) -> int | None:
        try:
            pid, started = (thing / "process").read_text().split()
        except (FileNotFoundError, ValueError):
            return None
        return int(pid) if _started(int(pid)) == started else None

    async def look_power(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        if not isinstance(machine := await self.look_machine(plan, member, signed), Seen):
            return machine
        if (pid := self._process(self._machine(member))) is not None:
            return Seen(evidence={"process": pid})
        words = (await self.read_console(plan, member)).text.strip()
        return NotYet(why=words or "it does not run", hopeless=bool(words))

    async def power_on(self, plan: Plan, member: MemberOrder) -> None:
        thing = self._own(plan, self._machine(member))
        if self._process(thing) is not None:
            return
        (thing / "console").unlink(missing_ok=True)
        maker = f"{sys.executable} -m staddle.platforms.loopback_certificate"
        command = [*self._program, "--certificate-maker", maker, "--speed", "0.15"]
        command += ["--answers", str(thing / "answers"), "--state", str(thing / "state")]
        command += ["--console", str(thing / "console"), "--port", str(member.port)]
        command += ["--processors", str(member.processors), "--memory-mib", str(member.memory_bytes >> 20)]
        command += ["--address-map", f"192.0.2.0/24=127.{self._block}.2.0/24"]
        # A shell that ends at once, so that the machine is nobody's child.
        script = 'log=$1; shift; "$@" </dev/null >"$log" 2>&1 & echo $!'
        started = subprocess.run(  # noqa: ASYNC221  the shell ends at once
            ["sh", "-c", script, "sh", str(thing / "log"), *command],
            stdout=subprocess.PIPE,
            check=True,
            start_new_session=True,
        )
        pid = int(started.stdout)
        (thing / "process").write_text(f"{pid} {_started(pid)}")

    async def read_console(self, plan: Plan, member: MemberOrder) -> ConsoleText:
        try:
            return ConsoleText(text=(self._machine(member) / "console").read_text())
        except FileNotFoundError:
            return ConsoleText(text="")

    async def look_removed(self, plan: Plan, member: MemberOrder, signed: Signature | None) -> Look:
        return self._look_gone(plan, self._machine(member))

    async def remove_machine(self, plan: Plan, member: MemberOrder) -> None:
        thing = self._own(plan, self._machine(member))
        if (pid := self._process(thing)) is not None:
            os.kill(pid, signal.SIGKILL)
            end = time.monotonic() + 10
            while self._process(thing) is not None and time.monotonic() < end:  # noqa: ASYNC110  no event tells
                await asyncio.sleep(0.02)
        shutil.rmtree(thing, ignore_errors=True)

    async def inventory(self, tag: str) -> tuple[Owned, ...]:
        found = []
        for thing in [*self._root.glob("*/*.disk"), *self._root.glob("*.machine")]:
            label = self._read(thing)
            if label["tag"] == tag:
                owned = Owned(kind=label["kind"], name=thing.stem, platform_id=label["id"], tag=tag)
                found.append(owned)
        return tuple(sorted(found, key=lambda owned: (owned.kind, owned.name)))


def _started(pid: int) -> str:
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()  # proc(5): field 22
    except OSError:
        return "ended"
    return "ended" if fields[0] in ("Z", "X") else fields[19]
