"""Wait until the member's service answers on TCP. A machine that has stopped meanwhile is started again first."""

from staddle.kernel import OutsideFailed
from staddle.plan.kind import Facts, Kind, Minutes
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class AwaitAnswer(Kind):
    facts = Facts(
        name="await-answer",
        title="wait for an answer",
        goal="the member answers on its address and port",
        probe="a TCP connection is opened and closed",
        minutes=Minutes(optimistic=0.2, likely=3, pessimistic=15),
        deadline_s=900,
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        power = await self._power(step, tools)
        if not isinstance(power, Seen):
            return power  # whoever answers there is not our machine, and a stopped one will never answer
        silent = await tools.wire.probe_tcp(member.address, member.port, timeout_s=3)
        return silent or Seen(evidence={"address": member.address, "port": member.port})

    async def act(self, step: Step, tools: Tools) -> None:
        member = tools.plan.get_member(step.member)
        if not isinstance(await self._power(step, tools), NotYet):
            return
        if await tools.wire.probe_tcp(member.address, member.port, timeout_s=2) is None:
            if not isinstance(await self._power(step, tools), NotYet):
                return  # it came up between the two looks
            raise OutsideFailed.one(
                f"something answers on {member.address} port {member.port} while {member.machine} has stopped",
                where=f"{member.machine} on {member.host}",
                why="starting ours would make two of that address",
                mend="find and move the other holder, then run the same command again",
            )
        await tools.platform.power_on(tools.plan, member)

    async def _power(self, step: Step, tools: Tools) -> Look:
        signed = tools.signature(f"{step.member}/power-on")
        return await tools.platform.look_power(tools.plan, tools.plan.get_member(step.member), signed)


KIND = AwaitAnswer()
