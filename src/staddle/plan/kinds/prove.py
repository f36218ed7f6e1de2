"""Prove the cluster from every member."""

from staddle.plan.acts import carry_what_is_gone
from staddle.plan.kind import Facts, Minutes
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind


class Prove(RunningKind):
    facts = Facts(
        name="prove",
        title="prove the cluster",
        goal="from every member all are seen, and what is written through one is read through each other",
        probe="the proof, repeated until it agrees",
        acts=False,
        restarts=True,
        minutes=Minutes(optimistic=0.5, likely=3, pessimistic=15),
        deadline_s=180,
        settle=2,
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        return await tools.prove()

    async def effect(self, step: Step, tools: Tools) -> None:
        await carry_what_is_gone(tools)


KIND = Prove()
