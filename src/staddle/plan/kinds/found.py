"""Found the cluster on the first member."""

from staddle.kernel import Fault
from staddle.plan.kind import BackOut, Facts
from staddle.plan.looks import Look, NotYet, Seen, Wrong
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.plan.targets import target_of


class Found(RunningKind):
    facts = Facts(
        name="found",
        title="found the cluster",
        goal="the first member is the whole of a new cluster of the design's name",
        probe="its own view shows the cluster",
        back_out=BackOut.WITH_MACHINE,
        secrets=("the administrator's first password",),
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        view = await tools.appliance.view(target_of(step.member, tools, secret=True))
        if isinstance(view, NotYet):
            return view
        if view.cluster != tools.plan.cluster:
            return Wrong(
                fault=Fault(
                    what=f'{step.member} is already part of a cluster called "{view.cluster}"',
                    why=f'this job founds "{tools.plan.cluster}", and a member belongs to one cluster only',
                    mend="make sure that the address and the machine are the ones of this job",
                )
            )
        return Seen(evidence={"cluster_id": view.cluster_id, "leader": view.leader})

    async def effect(self, step: Step, tools: Tools) -> None:
        await tools.appliance.found(target_of(step.member, tools, secret=True), tools.plan.cluster)


KIND = Found()
