"""A whole rollout on loopback without the job folder's files: real package, store, platform, stand-ins, runner.

Used in process and as a program: ``python -m tests.rollout.loopback_job FOLDER BLOCK [forward|back-out] [MARK]``, where MARK
is ``before:N`` or ``after:N``: the process kills itself (SIGKILL) before or after it records its N-th batch.
"""

import asyncio
import os
import signal
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

from demo.sluicelog_package import build_package
from staddle.design.profile import Profile
from staddle.design.reader import read_model
from staddle.jobs.holder import holder_name, is_gone
from staddle.jobs.toolbox import Workbench
from staddle.jobs.vault import RolloutVault, open_strongbox
from staddle.kernel import SystemClock, SystemRandom, canonical_json
from staddle.package import read_package
from staddle.plan.catalogue import limits_of, steps_of
from staddle.plan.looks import Card, Look, Seen, Signature
from staddle.plan.orders import AdapterOrder, ClusterStep, DiskOrder, MemberOrder, Plan, RoomOrder, Step
from staddle.platforms.loopback import LoopbackPlatform, LoopbackSettings
from staddle.rollout.decide import Direction
from staddle.rollout.journal import Entry, Lease, Recorded, RolloutHead
from staddle.rollout.run import Run, fold
from staddle.rollout.runner import Runner
from staddle.rollout.states import State
from staddle.stores.journal import SqlStore, open_sqlite
from staddle.trust.secretnames import FIRST_PASSWORD
from staddle.trust.secrets import new_password

__all__ = ["LoopbackJob", "Silent"]

ROLLOUT = "levels-rehearsal-1"
_PROFILE = Path(__file__).parents[2] / "src/staddle/appliances/profiles/sluicelog.yaml"


class NoRoom:
    """A register that promises everything: bookings have tests of their own."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def look(self, rooms: tuple[RoomOrder, ...], tag: str) -> Look:
        from staddle.plan.looks import NotYet

        return Seen(evidence={"booked": len(rooms)}) if self._path.exists() else NotYet(why="not booked")

    def book(self, rooms: tuple[RoomOrder, ...], tag: str) -> None:
        self._path.write_text(tag)

    def release(self, tag: str) -> None:
        self._path.unlink(missing_ok=True)

    def look_released(self, tag: str) -> Look:
        from staddle.plan.looks import NotYet

        return NotYet(why="booked") if self._path.exists() else Seen()


class Silent:
    """Nobody answers cards, nobody watches."""

    async def ask(self, step: Step, card: Card) -> Signature | None:
        return None

    def recorded(self, entry: Entry, run: Run) -> None:
        pass


class KillingStore(SqlStore):
    """The real store; kills the process before or after its N-th batch of entries."""

    mark = ""
    count = 0

    def append(self, lease: Lease, new: Sequence[Entry], *, now: datetime) -> tuple[Recorded, ...]:
        self.count += 1
        if self.mark == f"before:{self.count}":
            os.kill(os.getpid(), signal.SIGKILL)
        recorded = super().append(lease, new, now=now)
        if self.mark == f"after:{self.count}":
            os.kill(os.getpid(), signal.SIGKILL)
        return recorded


class LoopbackJob:
    """One rollout below a folder. Opening it again goes on with what is there."""

    def __init__(self, folder: Path, block: int, *, members: int = 3, mark: str = "") -> None:
        self.folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.private = folder / "private"
        self.private.mkdir(mode=0o700, exist_ok=True)
        self.package_path = folder / "sluicelog-4.2.0.ova"
        if not self.package_path.exists():
            build_package(folder)
        settings = self.private / "loopback" / "settings.json"
        if not settings.exists():
            settings.parent.mkdir(mode=0o700, exist_ok=True)
            settings.write_bytes(canonical_json(LoopbackSettings(block=block, speed=0.15)))
        self.platform = LoopbackPlatform(self.private / "loopback")
        self.store = open_sqlite(folder / "journal.sqlite")
        if mark:
            self.store.__class__ = KillingStore
            self.store.mark = mark  # type: ignore[attr-defined]
        self.profile = read_model(_PROFILE.read_text(), Profile, where="sluicelog").value
        self.package = read_package(self.package_path)
        self.clock = SystemClock()
        if not self.store.rollouts("levels"):
            self.store.create_rollout(self._head(members))
        self.head = self.store.get_rollout(ROLLOUT)
        self.vault = RolloutVault(open_strongbox(self.private / "strongbox.age"), ROLLOUT)
        if self.vault.find(FIRST_PASSWORD) is None:
            self.vault.put(FIRST_PASSWORD, new_password(SystemRandom()))

    def _head(self, members: int) -> RolloutHead:
        from staddle.package import verify_package

        sha256 = verify_package(self.package_path).package_sha256
        plan = self._plan(members, sha256)
        return RolloutHead(
            rollout_id=ROLLOUT,
            job="levels",
            purpose="rehearsal",
            made_at=self.clock.now(),
            made_by="the tests",
            inputs={"package": sha256},
            plan=plan,
        )

    def _plan(self, members: int, sha256: str) -> Plan:
        orders = tuple(self._member(number, members) for number in range(1, members + 1))
        lines = [line for line in self.profile.cluster if members > 1 or not line.needs_deputy]
        acts = tuple(
            ClusterStep(
                name=line.step,
                title=line.title,
                act=line.act,
                look=line.look,
                after="all" if number == 0 else lines[number - 1].step,
            )
            for number, line in enumerate(lines)
        )
        steps = steps_of(orders, acts)
        return Plan(
            job="levels",
            cluster="Ousemoor levels",
            tag="staddle/levels-rehearsal-1/test",
            purpose="rehearsal",
            package_sha256=sha256,
            join_secret_s=600,
            most_offset_ms=500,
            fingerprint_source="console",
            zone="levels.ousemoor.example",
            product=self.package.product,
            version=self.package.version,
            members=orders,
            rooms=tuple(
                RoomOrder(
                    member=m.member, host=m.host, memory_bytes=m.memory_bytes, vcpus=m.processors, pools=()
                )
                for m in orders
            ),
            cluster_steps=acts,
            steps=steps,
            limits=limits_of(steps),
        )

    def _member(self, number: int, members: int) -> MemberOrder:
        name = f"levels-{number}"
        fqdn = f"{name}.levels.ousemoor.example"
        hardware = self.package.get_hardware("river")
        answers = {
            "sluicelog.host_name": fqdn,
            "sluicelog.management_address": f"192.0.2.{60 + number}",
            "sluicelog.management_prefix": "25",
            "sluicelog.gateway": "192.0.2.1",
            "sluicelog.telemetry_address": f"198.51.100.{60 + number}",
            "sluicelog.telemetry_prefix": "25",
            "sluicelog.dns_servers": "192.0.2.3",
            "sluicelog.ntp_servers": "192.0.2.4",
            "sluicelog.time_zone": "UTC",
            "sluicelog.log_level": "info",
            "sluicelog.cluster_name": "Ousemoor levels",
            "sluicelog.retention_days": "400",
        }
        return MemberOrder(
            member=name,
            machine=name,
            fqdn=fqdn,
            site="Ousemoor",
            host=f"om-h0{number}",
            size="river",
            processors=hardware.processors,
            memory_bytes=hardware.memory_bytes,
            disks=tuple(
                DiskOrder(
                    name=f"{name}-{device.disk_id}",
                    disk_id=device.disk_id,
                    pool=f"om-store-{number}",
                    capacity_bytes=self.package.get_disk(device.disk_id).capacity_for("river"),
                    allocation="thick",
                    file_id=self.package.get_disk(device.disk_id).file_id,
                    file_bytes=0,
                )
                for device in hardware.disks
            ),
            adapters=tuple(
                AdapterOrder(
                    name=adapter.name,
                    package_network=adapter.network,
                    network=f"om-{adapter.network.lower()}",
                    address=answers[f"sluicelog.{adapter.network.lower()}_address"],
                    prefix_length=25,
                )
                for adapter in hardware.adapters
            ),
            address=answers["sluicelog.management_address"],
            port=8443,
            answers=tuple(answers.items()),
            secret_answers=(("sluicelog.admin_password", FIRST_PASSWORD),),
            leads="first" if number == 1 else "second" if number == 2 else "never",
        )

    def workbench(self) -> Workbench:
        return Workbench(
            plan=self.head.plan,
            platform=self.platform,
            profile=self.profile,
            package=self.package,
            package_path=self.package_path,
            vault=self.vault,
            room=NoRoom(self.folder / "booked"),
            clock=self.clock,
            random=SystemRandom(),
            progress=lambda step_id, done, total: None,
        )

    def runner(self, *, direction: Direction = Direction.FORWARD, span_s: float = 30) -> Runner:
        return Runner(
            head=self.head,
            store=self.store,
            make_tools=self.workbench().tools,
            people=Silent(),
            watcher=Silent(),
            clock=self.clock,
            actor="the tests",
            holder=holder_name(),
            is_gone=is_gone,
            direction=direction,
            lease_span=timedelta(seconds=span_s),
        )

    def carry_on(self) -> Run:
        return asyncio.run(self.runner().carry_on())

    def back_out(self) -> Run:
        return asyncio.run(self.runner(direction=Direction.BACK_OUT).carry_on())

    def run(self) -> Run:
        """The run as the journal tells it."""
        return fold(self.head.plan, self.store.entries(ROLLOUT))

    def with_plan(self, plan: Plan) -> None:
        """Another plan for the same rollout; only before it is begun."""
        self.head = replace(self.head, plan=plan)


def main(arguments: list[str]) -> int:
    folder, block = Path(arguments[0]), int(arguments[1])
    direction = arguments[2] if len(arguments) > 2 else "forward"
    job = LoopbackJob(folder, block, mark=arguments[3] if len(arguments) > 3 else "")
    run = job.carry_on() if direction == "forward" else job.back_out()
    if run.sealed or direction != "forward":
        return 0
    for step in run.in_state(State.REFUSED, State.NOT_KNOWN):
        sys.stderr.write(
            f"{step.step_id}: {run.state(step.step_id)}: {dict(run.known[step.step_id].evidence)}\n"
        )
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
