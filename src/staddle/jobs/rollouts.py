"""Opening a job's rollouts: the journal, the one that is to be gone on with, and its workbench."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from staddle.estate.bookings import Bookings
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.holder import holder_name, is_gone
from staddle.jobs.room import RegisterRoom
from staddle.jobs.toolbox import Workbench, load_platform
from staddle.jobs.vault import RolloutVault, open_strongbox
from staddle.kernel import Clock, NotAllowed, Random, SystemRandom
from staddle.plan.ports import Platform, Tools
from staddle.rollout.decide import Direction
from staddle.rollout.gate import Emergency, Open, note_of
from staddle.rollout.journal import RolloutHead
from staddle.rollout.run import Run, fold
from staddle.rollout.runner import People, Runner, Watcher
from staddle.rollout.states import State
from staddle.stores.bookings_sqlite import SqliteBookings
from staddle.stores.journal import SqlStore, open_sqlite
from staddle.stores.mounts import own_mounts, refuse_shared_disk
from staddle.trust.secretnames import FIRST_PASSWORD
from staddle.trust.secrets import new_password

__all__ = [
    "REHEARSAL",
    "ROLLOUT",
    "OpenRollout",
    "find_open",
    "last_rollout",
    "open_journal",
    "open_newest",
    "refuse_standing",
]

ROLLOUT = "rollout"
REHEARSAL = "rehearsal"
_BOOKED_FOR = timedelta(days=30)


def open_journal(folder: JobFolder) -> SqlStore:
    """The job's journal. Raises: InputRefused: the folder is on a file system whose locks do not hold."""
    refuse_shared_disk(folder.root, own_mounts())
    return open_sqlite(folder.journal)


def last_rollout(store: SqlStore, job: str, purpose: str | None = None) -> RolloutHead | None:
    """The newest rollout of a job, of one purpose if that is given."""
    found = [head for head in store.rollouts(job) if purpose in (None, head.purpose)]
    if purpose is None:
        return found[-1] if found else None
    # By their numbers: a clock may have been set back between two of them.
    return max(found, key=lambda head: int(head.rollout_id.rpartition("-")[2]), default=None)


def find_open(store: SqlStore, job: str, purpose: str) -> RolloutHead | None:
    """The newest rollout of that purpose if it is neither sealed nor backed out."""
    head = last_rollout(store, job, purpose)
    if head is None:
        return None
    run = fold(head.plan, store.entries(head.rollout_id))
    return None if run.sealed or run.backed_out else head


def _stands(store: SqlStore, head: RolloutHead) -> bool:
    return fold(head.plan, store.entries(head.rollout_id)).leaves_something


def refuse_standing(store: SqlStore, job: str, purpose: str) -> None:
    """Refuse to begin anew while what an earlier rollout of that purpose made still stands.

    A new one would meet machines of the same names, or ask a person to make them twice; and back-out takes the newest
    one, so that what the earlier one left could never be taken back.
    Raises: NotAllowed: the newest one is sealed, or its back-out is not complete.
    """
    for other in store.rollouts():
        if other.job != job and _stands(store, other):
            raise NotAllowed.one(
                f"{other.rollout_id} stands in this folder, and the design calls the job {job} by now",
                where="design.yaml: job.name",
                why="under another name it would be neither gone on with nor taken back",
                mend=f"call the job {other.job} again, or begin the other one in a folder of its own",
            )
    head = last_rollout(store, job, purpose)
    if head is None:
        return
    run = fold(head.plan, store.entries(head.rollout_id))
    again = "staddle back-out --rehearsal" if purpose == REHEARSAL else "staddle back-out"
    if run.sealed:
        raise NotAllowed.one(
            f"{head.rollout_id} is sealed, and what it made stands",
            why="another one would make machines of the same names",
            mend=f"clear it away with {again}"
            if purpose == REHEARSAL
            else "for another cluster, begin another job; staddle prove looks at this one",
        )
    if run.backed_out and run.leaves_something:
        raise NotAllowed.one(
            f"the back-out of {head.rollout_id} is not complete",
            why="what is left of it would stand in the way, and no later back-out would reach it",
            mend=f"run {again} until nothing is left",
        )


@dataclass(kw_only=True)
class OpenRollout:
    """One rollout with everything that is needed to carry it on, take it back, or look at it."""

    job: Gathered
    head: RolloutHead
    store: SqlStore
    clock: Clock
    random: Random
    actor: str
    progress: Callable[[str, int, int], None]
    gate: Open | Emergency | None = (
        None  # None: a rehearsal, a back-out or a look, which the gate does not hold
    )

    def __post_init__(self) -> None:
        # The pinned one, whatever the design says by now: on another platform a back-out would find nothing left.
        self.platform: Platform = load_platform(
            self.head.platform or platform_of(self.job, self.head.purpose), self.job.folder
        )
        self.vault = RolloutVault(open_strongbox(self.job.folder.strongbox), self.head.rollout_id)
        self.workbench = Workbench(
            plan=self.head.plan,
            platform=self.platform,
            profile=self.job.get_profile(),
            package=self.job.package,
            package_path=self.job.package_path,
            vault=self.vault,
            room=RegisterRoom(
                self._register(),
                self.clock,
                job=self.head.job,
                rollout=self.head.rollout_id,
                by=self.head.made_by,
                until=self.clock.now() + _BOOKED_FOR,
            ),
            clock=self.clock,
            random=self.random,
            progress=self.progress,
        )

    def _register(self) -> Bookings:
        if self.head.purpose == ROLLOUT:
            return SqliteBookings(self.job.estate_folder, self.job.reading.estate)
        # A rehearsal books for real, but in a register of its own: it must not keep room from anybody.
        own: Path = self.job.folder.loopback
        own.mkdir(mode=0o700, parents=True, exist_ok=True)
        return SqliteBookings(own, self.job.reading.estate)

    def run(self) -> Run:
        """What the journal says now."""
        return fold(self.head.plan, self.store.entries(self.head.rollout_id))

    def _promise_again(self) -> None:
        """Prolong what is booked; book anew what has ended or was lost with the register, if it still fits.

        The step that booked was seen done and is not looked at again, and a promise has an end. Once every machine is
        there its room is taken for good, and the survey tells of it.
        """
        run, plan = self.run(), self.head.plan
        machines = [step for step in plan.steps if step.kind == "create-machine"]
        booked = any(step.kind == "book-room" for step in run.in_state(State.SEEN_DONE))
        if (
            booked
            and not run.backed_out
            and any(run.state(m.step_id) is not State.SEEN_DONE for m in machines)
        ):
            self.workbench.room.book(plan.rooms, plan.tag)

    def _refuse_other_estate(self) -> None:
        named, begun = self.job.design.job.estate, self.head.estate or self.job.design.job.estate
        if self.head.purpose == ROLLOUT and named != begun:
            raise NotAllowed.one(
                f'the design names the estate "{named}", {self.head.rollout_id} was begun on "{begun}"',
                where="design.yaml: job.estate",
                why="its room is booked in the register of that one; in another it would only seem released",
                mend=f'name "{begun}" again; for another estate, back out first',
            )

    def _tools(self, run: Callable[[], Run]) -> Tools:
        # Called by the runner while it holds the lease: of two that draw at once, one would overwrite the other's.
        names = {name for member in self.head.plan.members for _, name in member.secret_answers} | {
            FIRST_PASSWORD
        }
        for name in sorted(names):
            if self.vault.find(name) is None:
                self.vault.put(name, new_password(self.random))
        return self.workbench.tools(run)

    def refuse_sealed(self) -> None:
        """Raises: NotAllowed: back-out is closed. A rehearsal never is: its machines are stand-ins."""
        if self.head.purpose == ROLLOUT and self.run().sealed:
            raise NotAllowed.one(
                f"rollout {self.head.rollout_id} is sealed",
                why="since the seal the cluster is in service; taking it back would stop it",
                mend="remove its members as a change of its own, with the maker's procedure",
            )

    async def carry_on(
        self, people: People, watcher: Watcher, direction: Direction = Direction.FORWARD
    ) -> Run:
        """Go on, forwards or backwards, until nothing more can be done.

        Raises: NotAllowed: another runner is at work; backwards after the seal; or the design names another estate by now. InputRefused: the room that was booked
            is promised to somebody else by now, and not all machines are there yet.
        """
        self._refuse_other_estate()
        if direction is Direction.BACK_OUT:
            self.refuse_sealed()
        else:
            self._promise_again()
        runner = Runner(
            head=self.head,
            store=self.store,
            make_tools=self._tools,
            people=people,
            watcher=watcher,
            clock=self.clock,
            actor=self.actor,
            holder=holder_name(),
            is_gone=is_gone,
            hide=lambda text: self.vault.redactor().redact(text),
            direction=direction,
            note=None if self.gate is None else note_of(self.gate),
            until=self.gate.until if isinstance(self.gate, Open) else None,
        )
        await runner.carry_on()
        return (
            self.run()
        )  # from the journal: what the runner itself knew may hold a secret that somebody echoed


def open_newest(folder: JobFolder, clock: Clock, *, rehearsal: bool, actor: str) -> OpenRollout:
    """The newest rollout of a job, or its newest rehearsal, however it stands.

    Raises: NotAllowed: there is none. InputRefused: the job cannot be read.
    """
    job = gather(folder, clock.now())
    store = open_journal(folder)
    head = last_rollout(store, job.design.job.name, REHEARSAL if rehearsal else ROLLOUT)
    if head is None:
        raise NotAllowed.one(
            f"there is no {'rehearsal' if rehearsal else 'rollout'} yet",
            where=str(folder.journal),
            mend="carry one out first; --rehearsal chooses rehearsals",
        )
    return OpenRollout(
        job=job,
        head=head,
        store=store,
        clock=clock,
        random=SystemRandom(),
        actor=actor,
        progress=lambda *_: None,
    )


def platform_of(job: Gathered, purpose: str) -> str:
    """A rehearsal is always on loopback; a rollout is where the design says."""
    return "loopback" if purpose == REHEARSAL else job.design.job.platform
