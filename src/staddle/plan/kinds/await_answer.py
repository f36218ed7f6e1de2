"""Wait until the member's service answers on TCP. A machine that has stopped meanwhile is started again first."""

from staddle.plan.kind import Facts, Minutes
from staddle.plan.looks import Look, Seen
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind


class AwaitAnswer(RunningKind):
    compares = False  # whoever answers is taken for the member
    facts = Facts(
        name="await-answer",
        title="wait for an answer",
        goal="the member answers on its address and port",
        probe="a TCP connection is opened and closed",
        minutes=Minutes(optimistic=0.2, likely=3, pessimistic=15),
        acts=False,
        restarts=True,
        deadline_s=900,
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        silent = await tools.wire.probe_tcp(member.address, member.port, timeout_s=3)
        return silent or Seen(evidence={"address": member.address, "port": member.port})


KIND = AwaitAnswer()
