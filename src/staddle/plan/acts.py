"""The cluster steps that only a profile knows: asked of whoever leads now, filled in for the cluster as it stands now.

After a take-over the design's deputy leads. Nobody is its own deputy, so the two change places: the design's leader is then
the one to be named.
"""

from collections.abc import Mapping

from staddle.kernel import OutsideFailed
from staddle.plan.leading import get_leading
from staddle.plan.looks import Look, Seen
from staddle.plan.orders import MemberOrder, Plan
from staddle.plan.ports import Tools, WrongCertificate
from staddle.plan.targets import target_of

__all__ = ["act_values", "carry_act", "carry_what_is_gone", "look_act"]


def act_values(plan: Plan, name: str, leading: MemberOrder) -> Mapping[str, str]:
    """What the acts of a cluster step may name, while that member leads."""
    deputy = next((member for member in plan.members if member.leads == "second"), None)
    if deputy is leading:
        deputy = plan.leader()
    mine = {"cluster": plan.cluster, "leader": leading.fqdn, "deputy": deputy.fqdn if deputy else ""}
    return mine | dict(plan.get_cluster_step(name).values)


async def look_act(name: str, tools: Tools) -> Look:
    """Whether the goal of a cluster step is there. Raises: OutsideFailed: nobody leads, so nobody can be asked."""
    leading = await get_leading(tools)
    target = target_of(leading.member, tools, secret=True)
    return await tools.appliance.look_act(
        tools.plan.get_cluster_step(name).look, target, act_values(tools.plan, name, leading)
    )


async def carry_act(name: str, tools: Tools) -> None:
    """Carry out the act of a cluster step. Raises: OutsideFailed: nobody leads, or whoever leads refuses."""
    leading = await get_leading(tools)
    target = target_of(leading.member, tools, secret=True)
    await tools.appliance.carry_act(
        tools.plan.get_cluster_step(name).act, target, act_values(tools.plan, name, leading)
    )


async def carry_what_is_gone(tools: Tools) -> None:
    """Carry out again each cluster step whose goal is no longer there: a take-over leaves the cluster without a deputy.

    What cannot be looked at now is left as it is; whoever called looks on.
    """
    for step in tools.plan.cluster_steps:
        try:
            if not isinstance(await look_act(step.name, tools), Seen):
                await carry_act(step.name, tools)
        except WrongCertificate:
            raise
        except OutsideFailed:
            return
