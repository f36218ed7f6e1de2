"""Create one member's machine on its host, powered off."""

from staddle.plan.kind import BackOut, Facts, Kind, Minutes
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class CreateMachine(Kind):
    facts = Facts(
        name="create-machine",
        title="create the machine",
        goal="the machine is defined on its host with its disks and networks, with our tag",
        probe="the platform shows the machine",
        back_out=BackOut.UNDO,
        back_out_note="the machine is stopped and removed; what was written in it since is lost",
        minutes=Minutes(optimistic=0.2, likely=1, pessimistic=10),
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        return await tools.platform.look_machine(tools.plan, member, tools.signature(step.step_id))

    async def act(self, step: Step, tools: Tools) -> None:
        await tools.platform.create_machine(tools.plan, tools.plan.get_member(step.member))

    async def look_undone(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        return await tools.platform.look_removed(tools.plan, member, tools.signature(step.step_id + "/undo"))

    async def undo(self, step: Step, tools: Tools) -> None:
        await tools.platform.remove_machine(tools.plan, tools.plan.get_member(step.member))


KIND = CreateMachine()
