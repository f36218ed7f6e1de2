"""The runner: asks decide() what is next and does it. Holds the lease, journals before effects, waits without threads.

Effects stop before the lease ends: the lease is renewed at a third of its span, an effect begins only while two
thirds of it are left, and when a renewal fails everything at work is cancelled and nothing more is recorded.
"""

import asyncio
from collections.abc import Awaitable, Callable, Coroutine, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any, Final, Protocol

from staddle.kernel import Clock, Fault, NotAllowed, OurFault, OutcomeUnknown, StaddleError
from staddle.plan.kind import get_kind
from staddle.plan.looks import Card, Look, Signature, Wrong
from staddle.plan.orders import Step
from staddle.plan.ports import Tools, WrongCertificate
from staddle.rollout.decide import Direction, Engine, decide
from staddle.rollout.facts import (
    Act,
    Acted,
    ActFailed,
    Answered,
    Ask,
    Began,
    Command,
    Fact,
    LookAt,
    Looked,
    LookFailed,
    Record,
    Stop,
)
from staddle.rollout.journal import Entry, Lease, LeaseLost, RolloutHead, Store
from staddle.rollout.run import Run, fold

__all__ = ["LEASE_SPAN", "People", "Runner", "Watcher"]

LEASE_SPAN: Final = timedelta(seconds=30)


class People(Protocol):
    """Whoever can answer a card."""

    async def ask(self, step: Step, card: Card) -> Signature | None:
        """The person's word, or None if nobody is there."""
        ...


class Watcher(Protocol):
    """Is told what happens, for progress on a screen. Must not raise."""

    def recorded(self, entry: Entry, run: Run) -> None: ...


@dataclass(kw_only=True)
class Runner:
    """Carries one rollout on, in one process. Made by jobs/, used once.

    Args: hide: takes secrets out of a text; deadline_factor: stretches or shortens the deadline of every step, for slow
        sites and for tests; note: recorded before anything is begun; until: from then on nothing further is begun.
    """

    head: RolloutHead
    store: Store
    make_tools: Callable[[Callable[[], Run]], Tools]
    people: People
    watcher: Watcher
    clock: Clock
    actor: str
    holder: str
    is_gone: Callable[[str], bool]
    hide: Callable[[str], str] = str
    direction: Direction = Direction.FORWARD
    lease_span: timedelta = LEASE_SPAN
    deadline_factor: float = 1.0
    note: Record | None = None
    until: datetime | None = None

    async def carry_on(self) -> Run:
        """Take the lease, go on until nothing more can be done, release the lease.

        Returns: the run as it stands then.
        Raises: NotAllowed: somebody else is at work, the lease was lost under way, or the direction is closed: forwards
            once anything was backed out, backwards once a rollout is sealed.
        """
        now = self.clock.now()
        self._lease: Lease = self.store.take_lease(
            self.head.rollout_id, holder=self.holder, now=now, span=self.lease_span, is_gone=self.is_gone
        )
        try:
            run = fold(self.head.plan, self.store.entries(self.head.rollout_id))
            self._refuse(run)
            self._engine = Engine(
                run=run, direction=self.direction, deadline_factor=self.deadline_factor, until=self.until
            )
            self._tools = self.make_tools(lambda: self._engine.run)
            if self.note is not None:
                self._journal([self.note], now)
                noted = fold(self.head.plan, self.store.entries(self.head.rollout_id))
                self._engine = replace(self._engine, run=noted)
            return await self._loop()
        finally:
            self.store.release_lease(self._lease)

    def _refuse(self, run: Run) -> None:
        # Asked while the lease is held: another command may have ended between what its caller looked at and now.
        if self.direction is Direction.FORWARD and run.backed_out:
            raise NotAllowed.one(
                f"{self.head.rollout_id} was backed out meanwhile",
                why="what was taken back in part is never built upon",
                mend="see that its back-out is complete, then run the same command again; it begins anew",
            )
        if self.direction is Direction.BACK_OUT and run.sealed and self.head.plan.purpose == "rollout":
            raise NotAllowed.one(
                f"rollout {self.head.rollout_id} is sealed",
                why="since the seal the cluster is in service; taking it back would stop it",
                mend="remove its members as a change of its own, with the maker's procedure",
            )

    async def _loop(self) -> Run:
        self._facts: asyncio.Queue[Fact | BaseException] = asyncio.Queue()
        self._tasks: set[asyncio.Task[None]] = set()
        self._spawn(self._renew())
        try:
            if self._take(Began(epoch=self._lease.epoch)):
                return self._engine.run
            while True:
                fact = await self._facts.get()
                if isinstance(fact, BaseException):
                    raise fact
                if self._take(fact):
                    return self._engine.run
        finally:
            for task in self._tasks:
                task.cancel()
            await asyncio.gather(*self._tasks, return_exceptions=True)

    def _take(self, fact: Fact) -> bool:
        """Decide and carry out. Returns whether the run ends here."""
        now = self.clock.now()
        engine, commands = decide(self._engine, fact, now)
        records = [command for command in commands if isinstance(command, Record)]
        if records:
            self._journal(records, now)
        self._engine = engine
        for command in commands:
            self._carry(command)
        return any(isinstance(command, Stop) for command in commands)

    def _journal(self, records: list[Record], now: datetime) -> None:
        entries = [
            Entry(
                step_id=record.step_id,
                event=record.event,
                at=now,
                actor=self.actor,
                site=self.head.plan.get_step(record.step_id).site if record.step_id else "",
                intent=self.hide(record.intent),
                evidence=self._hidden(record),
            )
            for record in records
        ]
        run = self._engine.run
        self.store.append(self._lease, entries, now=now)
        for entry in entries:
            run = run.applied(entry, self._lease.epoch)
            self.watcher.recorded(entry, run)

    def _hidden(self, record: Record) -> Mapping[str, object]:
        # Whatever comes from outside may echo what was sent there: a machine in its error or in what it tells of itself, a
        # person in what is typed on a card.
        return {str(self._clean(key)): self._clean(value) for key, value in record.evidence.items()}

    def _clean(self, value: object) -> object:
        if isinstance(value, str):
            return self.hide(value)
        if isinstance(value, Mapping):
            return {self._clean(key): self._clean(inner) for key, inner in value.items()}
        if isinstance(value, list | tuple):
            return [self._clean(inner) for inner in value]
        return value

    def _carry(self, command: Command) -> None:
        match command:
            case LookAt(step_id=step_id, at=at):
                self._spawn(self._look(step_id, at))
            case Act(step_id=step_id):
                self._spawn(self._act(step_id))
            case Ask(step_id=step_id, card=card):
                self._spawn(self._ask(step_id, card))
            case Record() | Stop():
                pass

    def _spawn(self, work: Coroutine[Any, Any, None]) -> None:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    async def _look(self, step_id: str, at: datetime) -> None:
        await self.clock.sleep(max(0.0, (at - self.clock.now()).total_seconds()))
        step = self.head.plan.get_step(step_id)
        kind = get_kind(step.kind)
        look = kind.look if self.direction is Direction.FORWARD else kind.look_undone
        await self._report(step_id, self._looked(step_id, look(step, self._tools)))

    async def _looked(self, step_id: str, looking: Awaitable[Look]) -> Fact:
        try:
            return Looked(step_id=step_id, look=await looking)
        except OurFault:
            raise
        except WrongCertificate as exc:  # a difference stops that member at once
            return Looked(step_id=step_id, look=Wrong(fault=exc.faults[0]))
        except StaddleError as exc:
            return LookFailed(step_id=step_id, fault=exc.faults[0])

    async def _act(self, step_id: str) -> None:
        await self._report(step_id, self._acted(step_id))

    async def _acted(self, step_id: str) -> Fact:
        if self._lease.until - self.clock.now() < self.lease_span / 3 * 2:
            self._lease = self.store.renew_lease(self._lease, now=self.clock.now(), span=self.lease_span)
        step = self.head.plan.get_step(step_id)
        kind = get_kind(step.kind)
        act = kind.act if self.direction is Direction.FORWARD else kind.undo
        try:
            await act(step, self._tools)
        except OurFault:
            raise
        except OutcomeUnknown as exc:
            return ActFailed(step_id=step_id, fault=exc.faults[0], unknown=True)
        except LeaseLost:
            raise
        except StaddleError as exc:
            return ActFailed(step_id=step_id, fault=exc.faults[0], unknown=False)
        return Acted(step_id=step_id)

    async def _ask(self, step_id: str, card: Card) -> None:
        async def answered() -> Fact:
            signature = await self.people.ask(self.head.plan.get_step(step_id), card)
            return Answered(step_id=step_id, signature=signature)

        await self._report(step_id, answered())

    async def _report(self, step_id: str, work: Awaitable[Fact]) -> None:
        try:
            self._facts.put_nowait(await work)
        except LeaseLost as exc:  # the lease was lost: stop everything, record nothing
            self._facts.put_nowait(exc)
        except Exception as exc:  # an error that no adapter foresaw must not take the other members with it
            self._facts.put_nowait(self._unforeseen(step_id, exc))

    def _unforeseen(self, step_id: str, exc: Exception) -> Fact | BaseException:
        fault = exc.faults[0] if isinstance(exc, StaddleError) else Fault(what=f"{type(exc).__name__}: {exc}")
        told = replace(
            fault,
            where=fault.where or step_id,
            mend=fault.mend or "this is a fault of the program: report it with the journal",
        )
        live = self._engine.live.get(step_id)
        if live is not None and live.phase == "acting":
            return ActFailed(step_id=step_id, fault=told, unknown=True)
        return LookFailed(step_id=step_id, fault=told)

    async def _renew(self) -> None:
        while True:
            await self.clock.sleep(self.lease_span.total_seconds() / 3)
            try:
                self._lease = self.store.renew_lease(self._lease, now=self.clock.now(), span=self.lease_span)
            except Exception as exc:  # also the database's own: nothing may go on beyond the lease's end
                self._facts.put_nowait(exc)
                return
