"""Kinds of step that need running machines: what has stopped since it was started is started again, whichever step meets it.

A machine may stop at any moment after its first answer. Whoever only looks on would wait for nothing, and the same command
could never go on: only its power-on step starts it, and that one was seen done.
"""

from typing import ClassVar

from staddle.kernel import OutsideFailed
from staddle.plan.kind import Kind
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.orders import MemberOrder, Step
from staddle.plan.ports import Tools

__all__ = ["RunningKind", "look_power", "start_again"]


async def look_power(member: MemberOrder, tools: Tools) -> Look:
    """Whether the member's machine runs."""
    return await tools.platform.look_power(tools.plan, member, tools.signature(f"{member.member}/power-on"))


async def start_again(member: MemberOrder, tools: Tools) -> bool:
    """Start a machine that has stopped. Returns: whether it had.

    Raises: OutsideFailed: somebody else answers on its address by now; ours stays off.
    """
    if not isinstance(await look_power(member, tools), NotYet):
        return False
    if await tools.wire.probe_tcp(member.address, member.port, timeout_s=2) is None:
        if not isinstance(await look_power(member, tools), NotYet):
            return False  # it came up between the two looks
        raise OutsideFailed.one(
            f"something answers on {member.address} port {member.port} while {member.machine} has stopped",
            where=f"{member.machine} on {member.host}",
            why="starting ours would make two of that address",
            mend="find and move the other holder, then run the same command again",
        )
    await tools.platform.power_on(tools.plan, member)
    return True


class RunningKind(Kind):
    """A kind whose look needs the machine of its member, or of several or all members, to run.

    Kinds define ``look_running`` and, where there is an effect, ``effect``. ``compares``: its look holds whoever answers
    against a certificate, so that somebody else in the machine's place is never taken for it.
    """

    compares: ClassVar[bool] = True

    def needed(self, step: Step, tools: Tools) -> tuple[MemberOrder, ...]:
        """The members whose machines must run: the step's own, every one for a step of the cluster."""
        return (tools.plan.get_member(step.member),) if step.member else tools.plan.members

    async def look(self, step: Step, tools: Tools) -> Look:
        for member in self.needed(step, tools):
            power = await look_power(member, tools)
            # A stopped machine will never answer. Whoever answers in its place shows another certificate than the
            # confirmed one: the look that compares it tells more than that ours is off.
            if not isinstance(power, Seen) and not await self._is_taken(member, tools):
                return power
        return await self.look_running(step, tools)

    async def _is_taken(self, member: MemberOrder, tools: Tools) -> bool:
        return self.compares and (
            await tools.wire.probe_tcp(member.address, member.port, timeout_s=2) is None
        )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        """Whether the goal is seen, while the machines run. Changes nothing."""
        raise NotImplementedError

    async def act(self, step: Step, tools: Tools) -> None:
        started = [one.machine for one in self.needed(step, tools) if await start_again(one, tools)]
        if not started:
            await self.effect(step, tools)
        elif self.facts.acts:
            # Its effect needs a service that answers: what that takes is waited for by looking, not in here.
            raise OutsideFailed.one(
                f"{', '.join(started)} had stopped, and was started again",
                where=step.step_id,
                why=f'"{self.facts.title}" was not carried out, since nothing could answer',
                mend="find out why it stopped, then run the same command again; it waits until there is an answer",
            )

    async def effect(self, step: Step, tools: Tools) -> None:
        """Bring the goal about, while the machines run. Nothing for a kind that only looks."""
