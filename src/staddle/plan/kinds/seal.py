"""Seal the rollout: one last proof with the new password. From here on back-out is closed."""

from staddle.plan.acts import carry_what_is_gone
from staddle.plan.kind import BackOut, Facts
from staddle.plan.looks import Look
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind


class Seal(RunningKind):
    facts = Facts(
        name="seal",
        title="seal",
        goal="the proof is good after the secrets were replaced and the answers ejected",
        probe="the proof, repeated until it agrees",
        acts=False,
        restarts=True,
        back_out=BackOut.NONE,
        back_out_note="from here on the cluster is in service; removing it is a change of its own",
        deadline_s=180,
        settle=2,
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        return await tools.prove()

    async def effect(self, step: Step, tools: Tools) -> None:
        await carry_what_is_gone(tools)


KIND = Seal()
