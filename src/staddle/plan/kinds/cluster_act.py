"""A step that only the appliance's profile knows, asked for at the leader: for example naming the deputy."""

from collections.abc import Mapping

from staddle.plan.kind import BackOut, Facts
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.plan.targets import target_of


class ClusterAct(RunningKind):
    facts = Facts(
        name="cluster-act",
        title="carry out the profile's step",
        goal="the look that the profile gives for it succeeds",
        probe="as the profile says",
        back_out=BackOut.WITH_MACHINE,
        secrets=("the administrator's password",),
    )

    def _values(self, step: Step, tools: Tools) -> Mapping[str, str]:
        plan = tools.plan
        deputy = next((m.fqdn for m in plan.members if m.leads == "second"), "")
        mine = {"cluster": plan.cluster, "leader": plan.leader().fqdn, "deputy": deputy}
        return mine | dict(plan.get_cluster_step(step.subject).values)

    async def look_running(self, step: Step, tools: Tools) -> Look:
        leader = target_of(tools.plan.leader().member, tools, secret=True)
        return await tools.appliance.look_act(
            tools.plan.get_cluster_step(step.subject).look, leader, self._values(step, tools)
        )

    async def effect(self, step: Step, tools: Tools) -> None:
        leader = target_of(tools.plan.leader().member, tools, secret=True)
        await tools.appliance.carry_act(
            tools.plan.get_cluster_step(step.subject).act, leader, self._values(step, tools)
        )


KIND = ClusterAct()
