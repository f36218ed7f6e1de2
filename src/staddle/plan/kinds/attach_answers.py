"""Attach one member's answers as an OVF environment document."""

from staddle.plan.kind import BackOut, Facts, Kind
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class AttachAnswers(Kind):
    facts = Facts(
        name="attach-answers",
        title="attach the answers",
        goal="the machine finds its answers at its first start",
        probe="the platform shows them attached",
        back_out=BackOut.WITH_MACHINE,
        secrets=("the administrator's first password",),
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        return await tools.platform.look_answers(tools.plan, member, tools.signature(step.step_id))

    async def act(self, step: Step, tools: Tools) -> None:
        member = tools.plan.get_member(step.member)
        await tools.platform.attach_answers(
            tools.plan, member, tools.answers_document(member), tools.answers_files()
        )


KIND = AttachAnswers()
