"""Detach and delete one member's answers once nothing needs them any more."""

from staddle.plan.kind import BackOut, Facts, Kind
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class EjectAnswers(Kind):
    facts = Facts(
        name="eject-answers",
        title="eject the answers",
        goal="the document with the first password is detached and deleted",
        probe="the platform shows no document",
        back_out=BackOut.NONE,
        back_out_note="the document can be made again, but not with the first password",
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        return await tools.platform.look_ejected(tools.plan, member, tools.signature(step.step_id))

    async def act(self, step: Step, tools: Tools) -> None:
        await tools.platform.eject_answers(tools.plan, tools.plan.get_member(step.member))


KIND = EjectAnswers()
