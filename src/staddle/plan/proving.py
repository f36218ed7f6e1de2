"""Kinds of step whose look is the proof. What a proof is stands in proof/."""

from staddle.plan.acts import carry_what_is_gone
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind

__all__ = ["ProvingKind"]


class ProvingKind(RunningKind):
    """A kind that is done when the proof is good; what a take-over took from the cluster is brought about again for it."""

    async def look_running(self, step: Step, tools: Tools) -> Look:
        return await tools.prove()

    async def effect(self, step: Step, tools: Tools) -> None:
        await carry_what_is_gone(tools)
