"""Deliver one disk of one member to its pool."""

from staddle.plan.kind import BackOut, Facts, Kind, Minutes
from staddle.plan.looks import Look
from staddle.plan.orders import DiskOrder, MemberOrder, Step
from staddle.plan.ports import Tools


class DeliverDisk(Kind):
    facts = Facts(
        name="deliver-disk",
        title="deliver the disk",
        goal="the disk lies on its pool, whole, with our tag",
        probe="the pool shows the disk complete, with the digest of what was sent",
        back_out=BackOut.UNDO,
        back_out_note="the disk is removed",
        minutes=Minutes(optimistic=1, likely=8, pessimistic=60),
    )

    def _orders(self, step: Step, tools: Tools) -> tuple[MemberOrder, DiskOrder]:
        member = tools.plan.get_member(step.member)
        return member, member.get_disk(step.subject)

    async def look(self, step: Step, tools: Tools) -> Look:
        return await tools.platform.look_disk(
            tools.plan, *self._orders(step, tools), tools.signature(step.step_id)
        )

    async def act(self, step: Step, tools: Tools) -> None:
        member, disk = self._orders(step, tools)
        await tools.platform.deliver_disk(
            tools.plan,
            member,
            disk,
            tools.open_disk(disk),
            lambda done, total: tools.progress(step.step_id, done, total),
        )

    async def look_undone(self, step: Step, tools: Tools) -> Look:
        return await tools.platform.look_disk_removed(
            tools.plan, *self._orders(step, tools), tools.signature(step.step_id + "/undo")
        )

    async def undo(self, step: Step, tools: Tools) -> None:
        await tools.platform.remove_disk(tools.plan, *self._orders(step, tools))


KIND = DeliverDisk()
