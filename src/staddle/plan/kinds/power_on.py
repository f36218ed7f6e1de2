"""Start one member's machine, after a look that nobody else answers on its address."""

from staddle.kernel import OutsideFailed
from staddle.plan.kind import BackOut, Facts, Kind
from staddle.plan.looks import Look, Seen
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class PowerOn(Kind):
    facts = Facts(
        name="power-on",
        title="power on",
        goal="the machine runs",
        probe="the platform shows it running; before, nothing answers on its address",
        back_out=BackOut.WITH_MACHINE,
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        return await tools.platform.look_power(tools.plan, member, tools.signature(step.step_id))

    async def act(self, step: Step, tools: Tools) -> None:
        member = tools.plan.get_member(step.member)
        if await tools.wire.probe_tcp(member.address, member.port, timeout_s=2) is None:
            if isinstance(await self.look(step, tools), Seen):
                return  # an earlier try's machine came up between the look and now
            raise OutsideFailed.one(
                f"something already answers on {member.address} port {member.port}, the address of {member.member}",
                where=f"{member.machine} on {member.host}",
                why="the machine is not running yet, so another one holds its address; starting ours would make two",
                mend="find and move the other holder, or give the member another address, then run the same command again",
            )
        await tools.platform.power_on(tools.plan, member)


KIND = PowerOn()
