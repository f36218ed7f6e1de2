"""A step that only the appliance's profile knows, asked for at whoever leads: for example naming the deputy."""

from staddle.plan.acts import carry_act, look_act
from staddle.plan.kind import BackOut, Facts
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind


class ClusterAct(RunningKind):
    facts = Facts(
        name="cluster-act",
        title="carry out the profile's step",
        goal="the look that the profile gives for it succeeds",
        probe="as the profile says",
        back_out=BackOut.WITH_MACHINE,
        secrets=("the administrator's password",),
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        return await look_act(step.subject, tools)

    async def effect(self, step: Step, tools: Tools) -> None:
        await carry_act(step.subject, tools)


KIND = ClusterAct()
