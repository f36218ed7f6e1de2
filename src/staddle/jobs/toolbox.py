"""Wiring: the tools with which a rollout's steps reach the world. No rules in here."""

import asyncio
import threading
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from importlib.metadata import entry_points
from pathlib import Path
from typing import BinaryIO, cast

from staddle.appliances.interpreter import ProfiledAppliance
from staddle.design.profile import Profile
from staddle.jobs.folder import JobFolder
from staddle.jobs.vault import RolloutVault
from staddle.jobs.wire import RealWire
from staddle.kernel import Clock, Fault, InputRefused, NotAllowed, Random
from staddle.package import (
    Package,
    PlatformFacts,
    environment_document,
    environment_files,
    open_disk_file,
    verify_package,
)
from staddle.plan.looks import Look, NotYet, Seen, Signature, Wrong
from staddle.plan.orders import DiskOrder, MemberOrder, Plan
from staddle.plan.ports import DiskSource, Platform, Progress, Room, Tools
from staddle.plan.targets import target_of
from staddle.proof.judge import judge
from staddle.proof.model import Expected, ExpectedMember, Proof
from staddle.proof.observe import observe
from staddle.rollout.run import Run
from staddle.trust.secretnames import PASSWORD

__all__ = ["Workbench", "expected_of", "installed_platforms", "load_platform"]


def installed_platforms() -> tuple[str, ...]:
    """Names of the platforms that are installed, sorted."""
    return tuple(sorted({point.name for point in entry_points(group="staddle.platforms")}))


def load_platform(name: str, folder: JobFolder) -> Platform:
    """The platform of that name, with the folder below private/ that is its own.

    Raises: InputRefused: none of that name is installed.
    """
    for point in entry_points(group="staddle.platforms"):
        if point.name == name:
            make = cast("Callable[[Path], Platform]", point.load())
            return make(folder.private / name)
    raise InputRefused.one(
        f'there is no platform "{name}"',
        where="design.yaml: job.platform",
        why="installed are: " + ", ".join(installed_platforms()),
        mend="name one of these, or install the package that brings it",
    )


@dataclass(kw_only=True)
class Workbench:
    """Everything of one rollout that outlives a single step. ``last_proof`` is the newest good or bad proof.

    Its ``rounds`` are those that were good in a row, with one password: what agreed before the password was replaced says
    nothing of the new one.
    """

    plan: Plan
    platform: Platform
    profile: Profile
    package: Package
    package_path: Path
    vault: RolloutVault
    room: Room
    clock: Clock
    random: Random
    progress: Callable[[str, int, int], None]
    last_proof: Proof | None = None
    _renewed: bool = field(default=False, init=False)

    def tools(self, run: Callable[[], Run]) -> Tools:
        """The tools for the runner that knows this run."""
        wire = RealWire(self.platform.reach, self.clock)
        appliance = ProfiledAppliance(self.profile, wire, where=f"profile {self.profile.profile}")
        tools = Tools(
            plan=self.plan,
            platform=self.platform,
            appliance=appliance,
            wire=wire,
            vault=self.vault,
            room=self.room,
            clock=self.clock,
            random=self.random,
            evidence=lambda step_id: run().evidence(step_id),
            signature=lambda step_id: self._signature(run(), step_id),
            verify_package=self._verify,
            open_disk=self._open_disk,
            answers_document=self._answers,
            answers_files=lambda: environment_files(self.package_path, self.package),
            prove=lambda: self._prove(tools),
            progress=self.progress,
        )
        return tools

    def _signature(self, run: Run, step_id: str) -> Signature | None:
        return run.signatures.get(step_id)

    async def _verify(self, progress: Progress) -> Look:
        stopped = threading.Event()

        def told(done: int, total: int) -> None:
            if stopped.is_set():  # a thread cannot be ended from outside, and the process waits for it
                raise NotAllowed.one("verifying the package was stopped")
            progress(done, total)

        try:
            seen = await asyncio.to_thread(verify_package, self.package_path, progress=told)
        except asyncio.CancelledError:
            stopped.set()
            raise
        except InputRefused as exc:
            return Wrong(fault=exc.faults[0])
        if seen.package_sha256 != self.plan.package_sha256:
            return Wrong(
                fault=Fault(
                    what="this is not the package that the rollout was planned with",
                    where=str(self.package_path),
                    why=f"its SHA-256 is {seen.package_sha256}, pinned is {self.plan.package_sha256}",
                    mend="put the pinned package back; for another one, back out and plan anew",
                )
            )
        return Seen(evidence={"sha256": seen.package_sha256, "files": len(seen.file_sha256)})

    def _open_disk(self, disk: DiskOrder) -> DiskSource | None:
        if (file_id := disk.file_id) is None:
            return None

        def opened() -> AbstractContextManager[BinaryIO]:
            return open_disk_file(self.package_path, self.package, file_id, pinned=disk.file_sha256)

        return opened

    def _answers(self, member: MemberOrder) -> bytes:
        values: dict[str, str] = dict(member.answers)
        values |= {key: self.vault.get(name).unsafe_reveal() for key, name in member.secret_answers}
        return environment_document(
            entity_id=self.package.name,
            platform=PlatformFacts(kind=f"staddle {self.platform.name}"),
            properties=values,
        )

    async def _prove(self, tools: Tools) -> Look:
        renewed = self.vault.find(PASSWORD) is not None
        before, self._renewed = self.last_proof if renewed == self._renewed else None, renewed
        proof = await self.prove_once(tools)
        if proof.good and before is not None and before.good:
            proof = replace(proof, rounds=before.rounds + 1)
        self.last_proof = proof
        if proof.good:
            return Seen(
                evidence={"checks": len(proof.checks), "members": len(self.plan.members), "good": True}
            )
        worst = proof.failed()[0]
        why = f"{len(proof.failed())} checks fail, first: {worst.subject}: {worst.name}: expected {worst.expected}, seen {worst.seen}"
        return NotYet(why=why)

    async def prove_once(self, tools: Tools) -> Proof:
        """One round of looking and judging, with the fingerprints of the journal."""
        expected = expected_of(self.plan, tools.evidence)
        targets = {m.member: target_of(m.member, tools, secret=True) for m in self.plan.members}
        mark = self.random.token(6).hex()
        return judge(
            expected, await observe(expected, targets, tools.appliance, tools.wire, self.clock, mark=mark)
        )


def expected_of(plan: Plan, evidence: Callable[[str], Mapping[str, object] | None]) -> Expected:
    """What a proof expects, from the plan and the journal's confirmed fingerprints."""
    members = []
    for order in plan.members:
        confirmed = evidence(f"{order.member}/confirm-fingerprint") or {}
        members.append(
            ExpectedMember(
                member=order.member,
                fqdn=order.fqdn,
                address=order.address,
                port=order.port,
                fingerprint=str(confirmed.get("fingerprint", "never confirmed")),
                processors=order.processors,
                memory_mib=order.memory_bytes >> 20,
                leads=order.leads,
            )
        )
    return Expected(
        cluster=plan.cluster, version=plan.version, most_offset_ms=plan.most_offset_ms, members=tuple(members)
    )
