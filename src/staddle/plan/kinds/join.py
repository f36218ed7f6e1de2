"""Let a further member join, with a one-use secret that its leader issued for it.

The secret goes from the leader into the strongbox and from there to the joiner, each on a connection whose
certificate was compared first; the joiner is told the leader's fingerprint too. If the outcome is not known, the
next try looks first; a secret that was perhaps used is never used again, since a new one ends it.
"""

from staddle.kernel import Fault
from staddle.plan.kind import BackOut, Facts, Minutes
from staddle.plan.leading import get_leading, members_in
from staddle.plan.looks import Look, NotYet, Seen, Wrong
from staddle.plan.orders import MemberOrder, Step
from staddle.plan.ports import Tools
from staddle.plan.running import RunningKind
from staddle.plan.targets import fingerprint_of_member, target_of
from staddle.trust.secretnames import join_secret_name


class Join(RunningKind):
    facts = Facts(
        name="join",
        title="join the cluster",
        goal="the member and its leader both list it in the same cluster",
        probe="the views of both",
        back_out=BackOut.WITH_MACHINE,
        back_out_note="the others go on listing it as lost until they are removed too",
        minutes=Minutes(optimistic=0.2, likely=2, pessimistic=15),
        deadline_s=180,
        secrets=("a join secret", "the administrator's first password"),
    )

    def needed(self, step: Step, tools: Tools) -> tuple[MemberOrder, ...]:
        # Whoever leads admits a newcomer only while a majority of those who are in hears it.
        return (*members_in(tools), tools.plan.get_member(step.member))

    async def look_running(self, step: Step, tools: Tools) -> Look:
        leader = await get_leading(tools)  # first: while nobody leads there is nobody to join
        mine = await tools.appliance.view(target_of(step.member, tools, secret=True))
        if isinstance(mine, NotYet):
            return mine
        theirs = await tools.appliance.view(target_of(leader.member, tools, secret=True))
        if isinstance(theirs, NotYet):
            return theirs
        if mine.cluster_id != theirs.cluster_id:
            return Wrong(
                fault=Fault(
                    what=f"{step.member} is in another cluster than its leader {leader.member}",
                    why=f"it sees {mine.cluster_id}, the leader sees {theirs.cluster_id}",
                    mend="find out which job that cluster belongs to; a member belongs to one cluster only",
                )
            )
        listed = {seen.address: seen for seen in theirs.members}.get(
            tools.plan.get_member(step.member).address
        )
        if listed is None:
            return NotYet(why=f"the leader does not list {step.member} yet")
        if listed.fingerprint.upper() != fingerprint_of_member(step.member, tools).text:
            return Wrong(
                fault=Fault(
                    what=f"the leader lists {step.member} with another certificate than the confirmed one",
                    why=f"it lists {listed.fingerprint}",
                    mend="stop; another machine has joined under this member's address",
                )
            )
        return Seen(evidence={"cluster_id": mine.cluster_id, "leader": leader.member})

    async def effect(self, step: Step, tools: Tools) -> None:
        leader = target_of((await get_leading(tools)).member, tools, secret=True)
        name = join_secret_name(step.member)
        joiner = tools.plan.get_member(step.member).fqdn
        secret = await tools.appliance.issue_join_secret(leader, joiner, tools.plan.join_secret_s)
        tools.vault.put(name, secret)
        await tools.appliance.join(target_of(step.member, tools, secret=True), leader, tools.vault.get(name))
        tools.vault.drop(name)


KIND = Join()
