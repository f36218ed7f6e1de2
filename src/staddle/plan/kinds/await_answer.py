"""Wait until the member's service answers on TCP."""

from staddle.plan.kind import Facts, Kind, Minutes
from staddle.plan.looks import Look, Seen, Wrong
from staddle.plan.orders import Step
from staddle.plan.ports import Tools


class AwaitAnswer(Kind):
    facts = Facts(
        name="await-answer",
        title="wait for an answer",
        goal="the member answers on its address and port",
        probe="a TCP connection is opened and closed",
        acts=False,
        minutes=Minutes(optimistic=0.2, likely=3, pessimistic=15),
        deadline_s=900,
    )

    async def look(self, step: Step, tools: Tools) -> Look:
        member = tools.plan.get_member(step.member)
        silent = await tools.wire.probe_tcp(member.address, member.port, timeout_s=3)
        if silent is None:
            return Seen(evidence={"address": member.address, "port": member.port})
        power = await tools.platform.look_power(
            tools.plan, member, tools.signature(f"{step.member}/power-on")
        )
        # A machine that has stopped will never answer: say so at once rather than at the deadline.
        return power if isinstance(power, Wrong) else silent


KIND = AwaitAnswer()
