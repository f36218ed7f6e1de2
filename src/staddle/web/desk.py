"""A rollout at work in the server's own process: its cards wait here for a person, and it can be held and gone on with.

Nothing of it is a record: a server that was killed begins with an empty desk, and the journal tells where to go on.
"""

import asyncio
import contextlib
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime

from staddle.jobs.back_out import back_out, back_out_list
from staddle.jobs.folder import JobFolder
from staddle.jobs.rollout import carry_on, open_rollout
from staddle.jobs.rollouts import REHEARSAL, OpenRollout
from staddle.kernel import Clock, Fault, NotAllowed, OurFault, Random, StaddleError
from staddle.plan.looks import Card, Signature
from staddle.plan.orders import Step
from staddle.rollout.journal import Entry
from staddle.rollout.run import Run
from staddle.trust.secrets import Secret

__all__ = ["AtWork", "Desk", "OpenCard", "Transfer"]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenCard:
    """One card that waits for a person. ``number`` grows from card to card of one server."""

    number: int
    step: Step
    card: Card


@dataclass(frozen=True, slots=True, kw_only=True)
class Transfer:
    """Bytes of one delivery so far, of how many in all (0: not known), and when it was first heard of."""

    step_id: str
    done_bytes: int
    total_bytes: int
    begun: datetime
    heard: datetime

    @property
    def rate_bytes_s(self) -> float | None:
        """Bytes a second since it began; None in its first instant."""
        spent_s = (self.heard - self.begun).total_seconds()
        return self.done_bytes / spent_s if spent_s > 0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class AtWork:
    """The desk at one instant.

    ``is_back_out``: it is taken back. ``purpose`` is of the rollout at work, or of the last one, "" for none; ``faults`` are why that one ended early.
    """

    is_busy: bool = False
    is_holding: bool = False
    is_back_out: bool = False
    purpose: str = ""
    begun: datetime | None = None
    cards: tuple[OpenCard, ...] = ()
    transfers: tuple[Transfer, ...] = ()
    faults: tuple[Fault, ...] = ()


class _Waiting:
    def __init__(self, shown: OpenCard, answer: "asyncio.Future[Signature | None]") -> None:
        self.shown = shown
        self.answer = answer


class Desk:
    """At most one rollout at a time. Methods may be called from any thread."""

    def __init__(self, folder: JobFolder, clock: Clock, random: Random, actor: str) -> None:
        self._folder = folder
        self._clock = clock
        self._random = random
        self._actor = actor
        self._changed = threading.RLock()
        self._listeners: set[Callable[[], None]] = set()
        self._version = 0
        self._state = AtWork()
        self._waiting: dict[str, _Waiting] = {}
        self._number = 0
        self._thread: threading.Thread | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._task: asyncio.Task[Run] | None = None
        self._rollout: OpenRollout | None = None

    def now(self) -> AtWork:
        """The desk as it is now."""
        with self._changed:
            return self._state

    @property
    def version(self) -> int:
        """Grows with every change."""
        with self._changed:
            return self._version

    def something_else(self) -> None:
        """Something that pages show besides the rollout has changed."""
        with self._changed:
            self._tell()

    async def wait_beyond(self, version: int, *, timeout_s: float) -> int:
        """Wait without a thread until something changed after that version, or the time is over. Returns: the version now."""
        heard, loop = asyncio.Event(), asyncio.get_running_loop()

        def tell() -> None:
            with contextlib.suppress(RuntimeError):  # the listener's loop has ended meanwhile
                loop.call_soon_threadsafe(heard.set)

        with self._changed:
            if self._version > version:
                return self._version
            self._listeners.add(tell)
        try:
            await asyncio.wait_for(heard.wait(), timeout_s)
        except TimeoutError:
            pass
        finally:
            with self._changed:
                self._listeners.discard(tell)
        return self.version

    def go_on(self, purpose: str, *, back: bool = False) -> None:
        """Begin the rollout of that purpose, or go on with it, in a thread of its own. Returns at once.

        Args: back: take the newest of it back instead.

        Raises: NotAllowed: one is at work here already.
        """
        with self._changed:
            if self._state.is_busy:
                raise NotAllowed.one(
                    f"a {self._state.purpose} is at work already",
                    where="this server",
                    mend="hold it first, or wait until it stops",
                )
            self._state = AtWork(is_busy=True, is_back_out=back, purpose=purpose, begun=self._clock.now())
            self._thread = threading.Thread(
                target=self._work, args=(purpose, back), name=f"staddle {purpose}", daemon=True
            )
            self._tell()
            self._thread.start()

    def hold(self) -> None:
        """Stop as Ctrl-C in a terminal does: what is at work is looked at anew when it goes on. Harmless without one."""
        with self._changed:
            if not self._state.is_busy:
                return
            self._state = replace(self._state, is_holding=True)
            self._tell()
            loop, task = self._loop, self._task
        if loop is not None and task is not None:
            loop.call_soon_threadsafe(task.cancel)

    def close(self, *, timeout_s: float) -> bool:
        """Hold, let all listeners go, and wait for the end of the work. Returns: whether it has ended."""
        self.hold()
        with self._changed:
            self._tell()
        thread = self._thread
        if thread is None:
            return True
        thread.join(timeout_s)
        return not thread.is_alive()

    def sign(self, step_id: str, *, by: str, entry: str) -> None:
        """A person's word on an open card.

        Raises: NotAllowed: no card of that step is open.
        """
        self._answer(step_id, Signature(by=by, at=self._clock.now(), entry=entry))

    def leave(self, step_id: str) -> None:
        """Leave an open card for later. Raises: NotAllowed: no card of that step is open."""
        self._answer(step_id, None)

    def reveal(self, step_id: str, name: str) -> Secret:
        """One secret, only while a card that needs it is open.

        Raises: NotAllowed: no open card of that step asks for it.
        """
        with self._changed:
            waiting, rollout = self._waiting.get(step_id), self._rollout
        if (
            waiting is None
            or rollout is None
            or name not in {kept for _, kept in waiting.shown.card.secret_values}
        ):
            raise NotAllowed.one("no open card asks for that secret", where=step_id, mend="go on first")
        return rollout.vault.get(name)

    def _answer(self, step_id: str, signature: Signature | None) -> None:
        with self._changed:
            waiting, loop = self._waiting.pop(step_id, None), self._loop
            self._refresh_cards()
        if waiting is None or loop is None:
            raise NotAllowed.one(
                "this card is not open any more",
                where=step_id,
                why="it was signed already, or the rollout was held",
                mend="look at the run card again",
            )
        answer = waiting.answer

        def settle() -> None:
            if not answer.done():
                answer.set_result(signature)

        loop.call_soon_threadsafe(settle)

    # What the runner calls, in the thread of the work.

    async def ask(self, step: Step, card: Card) -> Signature | None:
        """The People port: put the card on the desk and wait for a person."""
        answer: asyncio.Future[Signature | None] = asyncio.get_running_loop().create_future()
        with self._changed:
            self._number += 1
            self._waiting[step.step_id] = _Waiting(
                OpenCard(number=self._number, step=step, card=card), answer
            )
            self._refresh_cards()
        try:
            return await answer
        finally:
            with self._changed:
                if self._waiting.pop(step.step_id, None) is not None:
                    self._refresh_cards()

    def recorded(self, entry: Entry, run: Run) -> None:
        """The Watcher port."""
        with self._changed:
            rest = tuple(one for one in self._state.transfers if one.step_id != entry.step_id)
            self._state = replace(self._state, transfers=rest)
            self._tell()

    def _transferred(self, step_id: str, done: int, total: int) -> None:
        now = self._clock.now()
        with self._changed:
            before = next((one for one in self._state.transfers if one.step_id == step_id), None)
            heard = Transfer(
                step_id=step_id,
                done_bytes=done,
                total_bytes=total,
                begun=before.begun if before is not None else now,
                heard=now,
            )
            rest = tuple(one for one in self._state.transfers if one is not before)
            self._state = replace(self._state, transfers=(*rest, heard))
            self._tell()

    def _work(self, purpose: str, back: bool) -> None:
        faults: tuple[Fault, ...] = ()
        try:
            asyncio.run(self._carry(purpose, back))
        except asyncio.CancelledError:
            pass  # it was held
        except StaddleError as exc:
            faults = exc.faults
        except (
            Exception
        ) as exc:  # whatever it was, the page must tell it: there is no terminal to print it to
            faults = OurFault.one(
                f"{type(exc).__name__}: {exc}",
                where=f"the {purpose} at work",
                mend="report this with the journal; going on looks first and repeats nothing that was done",
            ).faults
        finally:
            with self._changed:
                self._loop = self._task = self._rollout = None
                self._waiting.clear()
                self._state = AtWork(
                    is_back_out=back, purpose=purpose, begun=self._state.begun, faults=faults
                )
                self._tell()

    async def _carry(self, purpose: str, back: bool) -> None:
        rollout = await asyncio.to_thread(self._opened, purpose, back)
        work = back_out(rollout, self, self) if back else carry_on(rollout, self, self)
        task = asyncio.ensure_future(work)
        with self._changed:
            self._loop, self._task, self._rollout = asyncio.get_running_loop(), task, rollout
            if self._state.is_holding:  # held while the package was read
                task.cancel()
            self._tell()
        try:
            await task
        finally:
            rollout.store.close()

    def _opened(self, purpose: str, back: bool) -> OpenRollout:
        if back:
            is_rehearsal = purpose == REHEARSAL
            return back_out_list(self._folder, self._clock, rehearsal=is_rehearsal, actor=self._actor).rollout
        return open_rollout(
            self._folder,
            purpose,
            clock=self._clock,
            random=self._random,
            actor=self._actor,
            progress=self._transferred,
        )

    def _refresh_cards(self) -> None:
        cards = tuple(sorted((one.shown for one in self._waiting.values()), key=lambda shown: shown.number))
        self._state = replace(self._state, cards=cards)
        self._tell()

    def _tell(self) -> None:
        self._version += 1
        for listener in self._listeners:
            listener()
