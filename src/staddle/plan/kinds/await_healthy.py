"""Wait until the member says repeatedly that it is healthy."""

from staddle.plan.kind import Facts, Minutes
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.plan.targets import target_of


class AwaitHealthy(RunningKind):
    facts = Facts(
        name="await-healthy",
        title="wait until healthy",
        goal="the member says three times in a row that it is healthy",
        probe="the appliance's own health question, on the confirmed certificate",
        acts=False,
        restarts=True,
        minutes=Minutes(optimistic=0.2, likely=2, pessimistic=20),
        deadline_s=900,
        settle=3,
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        health = await tools.appliance.health(target_of(step.member, tools))
        if isinstance(health, NotYet):
            return health
        if not health.healthy:
            return NotYet(why="it answers, and says that it is not healthy")
        return Seen(
            evidence={
                "name": health.name,
                "version": health.version,
                "clock_offset_ms": round(health.clock_offset_ms, 1),
            }
        )


KIND = AwaitHealthy()
