"""rollout and rehearse: make the plan and pin it, or find the one that is under way, and carry it on."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from staddle.jobs.anchors import origin_of_job
from staddle.jobs.answers import answers_of, refuse_open_questions
from staddle.jobs.differing import refuse_differing_disks
from staddle.jobs.folder import JobFolder
from staddle.jobs.gate import pass_gate
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.journal import export_journal, report_of
from staddle.jobs.orders import new_tag, plan_of_job
from staddle.jobs.prove import keep_proof
from staddle.jobs.review import review_job
from staddle.jobs.rollouts import ROLLOUT, OpenRollout, find_open, open_journal, platform_of, refuse_standing
from staddle.kernel import Clock, Fault, NotAllowed, Random, Severity
from staddle.package import verify_package
from staddle.plan.kind import get_kind
from staddle.plan.orders import Plan, Step
from staddle.rollout.gate import Plea
from staddle.rollout.journal import RolloutHead
from staddle.rollout.run import Run
from staddle.rollout.runner import People, Watcher
from staddle.rollout.states import State
from staddle.stores.journal import SqlStore

__all__ = [
    "READ_ANEW",
    "Standing",
    "calls_of",
    "carry_on",
    "drifted_from",
    "drifted_inputs",
    "open_rollout",
    "standing_of",
]

READ_ANEW: Final = "profile"
"""The one input that is taken up when it changed: a wrong profile could not be mended otherwise."""

_NO_PROGRESS: Final = lambda step_id, done, total: None  # noqa: E731  a value, not a function of its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a run stands after it stopped."""

    sealed: bool
    done: int
    steps: int
    refused: tuple[tuple[str, Fault], ...]
    awaits: tuple[str, ...]
    not_known: tuple[str, ...]


def open_rollout(
    folder: JobFolder,
    purpose: str,
    *,
    clock: Clock,
    random: Random,
    actor: str,
    progress: Callable[[str, int, int], None] = _NO_PROGRESS,
    pin: bool = True,
    plea: Plea | None = None,
) -> OpenRollout:
    """The rollout of that purpose that is under way, or a new one with its inputs pinned.

    Args: pin: False only shows what a new one would be: nothing is recorded, and what is shown is not what a later run is
        held to, nor by the change gate; plea: the emergency for which the gate lets a rollout begin.
    Raises: InputRefused: the job has faults. NotAllowed: what an earlier one made still stands, no valid settled
        placement, open questions, or (a rollout that is no rehearsal) findings that stop it or the change gate.
    """
    job = gather(folder, clock.now())
    store = open_journal(folder)
    fresh = None
    head = find_open(store, job.design.job.name, purpose)
    if head is None:
        refuse_standing(store, job.design.job.name, purpose)
        if purpose == ROLLOUT:
            _refuse_stops(folder, clock)
    passed = None
    if purpose == ROLLOUT and pin:  # going on is held to it as beginning is, by the design as it is now
        passed = pass_gate(job, actor=actor, now=clock.now(), plea=plea)
    if head is None:
        fresh = head = _new_head(job, store, purpose, clock=clock, random=random, actor=actor)
    rollout = OpenRollout(
        job=job,
        head=head,
        store=store,
        clock=clock,
        random=random,
        actor=actor,
        progress=progress,
        gate=passed,
    )
    # Only now: what cannot be opened, for example on a platform that is not installed, must not be gone on with for ever.
    if pin and fresh is not None:
        store.create_rollout(fresh)
    return rollout


def _refuse_stops(folder: JobFolder, clock: Clock) -> None:
    # The package is read whole by the rollout itself right after this, so the review need not do it too.
    kept = review_job(folder, clock.now(), verify=False).review.kept
    stops = [finding for finding in kept if finding.severity is Severity.STOP]
    if stops:
        raise NotAllowed(
            *(
                Fault(what=f"{stop.rule}: {stop.what}", where=stop.where, why=stop.why, mend=stop.mend)
                for stop in stops
            )
        )


def _new_head(
    job: Gathered, store: SqlStore, purpose: str, *, clock: Clock, random: Random, actor: str
) -> RolloutHead:
    seats = job.valid_seats()
    if seats is None:
        raise NotAllowed.one(
            "there is no settled placement that is valid",
            where="placement.yaml",
            why="nothing was settled yet"
            if job.settled is None
            else "a rule no longer holds for the settled one",
            mend="run staddle place --settle",
        )
    job.get_profile()
    answers = answers_of(job)
    refuse_open_questions(answers)
    verified = verify_package(job.package_path, origin=origin_of_job(job, clock.now()))
    if job.design.package.sha256 and not verified.answers_to(job.design.package.sha256):
        raise NotAllowed.one(
            "the package is not the one that the design pins",
            where=job.places.find("package.sha256"),
            why=f"its SHA-256 is {verified.package_sha256}, that of its contents {verified.contents_sha256}",
            mend="use the pinned package, or pin this one after finding out why it differs",
        )
    platform = platform_of(job, purpose)
    if purpose == ROLLOUT:  # the stand-ins of a rehearsal read no disk
        refuse_differing_disks(job, platform)
    number = 1 + len([head for head in store.rollouts(job.design.job.name) if head.purpose == purpose])
    rollout_id = f"{job.design.job.name}-{purpose}-{number}"
    now = clock.now()
    plan = plan_of_job(
        job,
        seats,
        {one.member: one.rows for one in answers.members},
        purpose=purpose,
        tag=new_tag(rollout_id, now, random.token(16)),
        package_sha256=verified.package_sha256,
        file_sha256=dict(verified.file_sha256),
    )
    return RolloutHead(
        rollout_id=rollout_id,
        job=job.design.job.name,
        purpose=purpose,
        made_at=now,
        made_by=actor,
        inputs={**job.inputs(), "package": verified.package_sha256},
        plan=plan,
        platform=platform,
        estate=job.design.job.estate,
    )


def drifted_inputs(rollout: OpenRollout) -> tuple[str, ...]:
    """The inputs that no longer have the digest which the journal pinned. The rollout goes on with the pinned ones,
    but for READ_ANEW.
    """
    return drifted_from(rollout.head, rollout.job)


def drifted_from(head: RolloutHead, job: Gathered) -> tuple[str, ...]:
    """The same, of a job that was read without opening its rollout."""
    now = job.inputs()
    return tuple(name for name, digest in head.inputs.items() if now.get(name, digest) != digest)


async def carry_on(rollout: OpenRollout, people: People, watcher: Watcher) -> Run:
    """Carry the rollout on until nothing more can be done now, then export journal and proof to records/.

    Raises: NotAllowed: somebody else is at work on it.
    """
    try:
        return await rollout.carry_on(people, watcher)
    finally:
        folder = rollout.job.folder
        export_journal(folder, report_of(rollout.store, rollout.head))
        if rollout.workbench.last_proof is not None:
            keep_proof(rollout, rollout.workbench.last_proof)


def standing_of(run: Run) -> Standing:
    """Where the run stands, with the fault of every refused step."""
    refused = []
    for step in run.in_state(State.REFUSED):
        told = {key: str(text) for key, text in run.known[step.step_id].evidence.items()}
        fault = Fault(
            what=told.get("what", "refused"),
            where=told.get("where", ""),
            why=told.get("why", ""),
            mend=told.get("mend", ""),
        )
        refused.append((step.step_id, fault))
    return Standing(
        sealed=run.sealed,
        done=len(run.in_state(State.SEEN_DONE)),
        steps=len(run.plan.steps),
        refused=tuple(refused),
        awaits=tuple(step.step_id for step in run.in_state(State.AWAITS_PERSON)),
        not_known=tuple(step.step_id for step in run.in_state(State.NOT_KNOWN)),
    )


def calls_of(plan: Plan) -> tuple[tuple[str, str], ...]:
    """Every real call that carrying the plan out would make, as (step id, what), in the plan's order."""
    return tuple((step.step_id, _call(plan, step)) for step in plan.steps)


def _call(plan: Plan, step: Step) -> str:
    facts = get_kind(step.kind).facts
    if step.kind == "cluster-act":
        act = plan.get_cluster_step(step.subject)
        leader = plan.leader()
        return (
            f"{act.title}: act {act.act} at whoever leads, at first {leader.address} port {leader.port}; "
            f"then look: {act.look}"
        )
    if not step.member:
        return f"{facts.title}; seen when {facts.goal}"
    member = plan.get_member(step.member)
    if step.kind == "deliver-disk":
        disk = member.get_disk(step.subject)
        return f"{facts.title} {disk.name} to pool {disk.pool} ({disk.capacity_bytes} B, {disk.allocation})"
    where = f"{member.machine} on {member.host}"
    if facts.acts:
        return f"{facts.title}: {where}; {member.address} port {member.port}"
    if facts.restarts:
        return f"look: {facts.title}: {where}, started again if it has stopped; {facts.probe} at {member.address} port {member.port}"
    return f"look only: {facts.title}: {where}; {facts.probe} at {member.address} port {member.port}"
