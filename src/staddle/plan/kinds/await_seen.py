"""Wait until a member sees the others that are in, and they see it."""

from staddle.plan.kind import Facts, Minutes
from staddle.plan.leading import members_in
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.orders import MemberOrder, Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.plan.targets import target_of


class AwaitSeen(RunningKind):
    facts = Facts(
        name="await-seen",
        title="wait until seen by the others",
        goal="every member that has joined hears this one, and this one hears them",
        probe="the view of every member that is in, twice in a row",
        acts=False,
        restarts=True,
        minutes=Minutes(optimistic=0.2, likely=1, pessimistic=10),
        deadline_s=180,
        settle=2,
    )

    def needed(self, step: Step, tools: Tools) -> tuple[MemberOrder, ...]:
        return members_in(tools)  # each of them is asked, and one that is off would be waited for in vain

    async def look_running(self, step: Step, tools: Tools) -> Look:
        members = members_in(tools)
        me = tools.plan.get_member(step.member)
        for other in members:
            view = await tools.appliance.view(target_of(other.member, tools, secret=True))
            if isinstance(view, NotYet):
                return NotYet(why=f"{other.member}: {view.why}")
            heard = {seen.address for seen in view.members if seen.heard}
            wanted = {m.address for m in members} if other.member == step.member else {me.address}
            if missing := wanted - heard:
                names = ", ".join(m.member for m in members if m.address in missing)
                return NotYet(why=f"{other.member} does not hear {names} yet")
        return Seen(evidence={"seen_by": [m.member for m in members]})


KIND = AwaitSeen()
