"""Replace the administrator's password that went through the package's answers.

The new one stands in the strongbox before the appliance hears of it, so that a stop at any moment leaves a
password that is known; the look tries which of the two is accepted, the first one first: while it holds, that is no
wrong try, and an appliance that makes wrong tries wait does not come to refuse us however often we are killed here.
"""

from staddle.plan.kind import BackOut, Facts
from staddle.plan.leading import get_leading
from staddle.plan.looks import Look, NotYet, Seen
from staddle.plan.orders import Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.plan.targets import target_of
from staddle.trust.secretnames import FIRST_PASSWORD, PASSWORD, join_secret_name
from staddle.trust.secrets import new_password


class RotatePassword(RunningKind):
    facts = Facts(
        name="rotate-password",
        title="replace the first password",
        goal="every member accepts the new password and refuses the first one",
        probe="both are tried at every member",
        back_out=BackOut.NONE,
        back_out_note="the first password is gone for good",
        secrets=("the administrator's first and new password",),
    )

    async def look_running(self, step: Step, tools: Tools) -> Look:
        new = tools.vault.find(PASSWORD)
        if new is None:
            return NotYet(why="there is no new password yet")
        first = tools.vault.get(FIRST_PASSWORD)
        for order in tools.plan.members:
            if await tools.appliance.accepts(target_of(order.member, tools, secret=first)):
                return NotYet(why=f"{order.member} still accepts the first password")
            if not await tools.appliance.accepts(target_of(order.member, tools, secret=new)):
                return NotYet(why=f"{order.member} does not accept the new password")
        return Seen(evidence={"members": [order.member for order in tools.plan.members]})

    async def effect(self, step: Step, tools: Tools) -> None:
        for order in tools.plan.members:
            # A stop between a join and its end leaves a used secret behind; nobody needs it any more.
            tools.vault.drop(join_secret_name(order.member))
        new = tools.vault.find(PASSWORD)
        if new is None:
            new = new_password(tools.random)
            tools.vault.put(PASSWORD, new)
        leader = target_of(tools.plan.leader().member, tools, secret=tools.vault.get(FIRST_PASSWORD))
        if await tools.appliance.accepts(leader):
            leading = await get_leading(tools)
            await tools.appliance.change_password(target_of(leading.member, tools, secret=True), new)
        # Otherwise an earlier try got through; what is left is that the others follow.


KIND = RotatePassword()
