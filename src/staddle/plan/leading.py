"""Who is in the cluster by the journal, and who leads it now. A machine that stopped may have cost the design's leader its place.

Not here: whom the design wants to lead (orders.py), and whether all see the same leader (proof/).
"""

from staddle.kernel import OutsideFailed
from staddle.plan.looks import NotYet
from staddle.plan.orders import MemberOrder
from staddle.plan.ports import Tools, WrongCertificate
from staddle.plan.targets import target_of

__all__ = ["get_leading", "members_in"]


def members_in(tools: Tools) -> tuple[MemberOrder, ...]:
    """The members that have founded the cluster or joined it, by the journal, in the plan's order."""
    return tuple(
        member
        for member in tools.plan.members
        if any(tools.evidence(f"{member.member}/{kind}") is not None for kind in ("found", "join"))
    )


async def get_leading(tools: Tools) -> MemberOrder:
    """The member that leads now, by the view of the first member that knows a leader; the design's leader is asked first.

    Raises: OutsideFailed: nobody who is in knows a leader of this plan, so that nothing can be asked of it;
        WrongCertificate: somebody else answers in a member's place.
    """
    first = tools.plan.leader()
    by_name = {member.fqdn: member for member in tools.plan.members}
    silent = []
    for member in sorted(members_in(tools), key=lambda one: one is not first):
        try:
            view = await tools.appliance.view(target_of(member.member, tools, secret=True))
        except WrongCertificate:
            raise
        except OutsideFailed as exc:
            silent.append(f"{member.member}: {exc.faults[0].what}")
            continue
        if isinstance(view, NotYet):
            silent.append(f"{member.member}: {view.why}")
        elif view.leader in by_name:
            return by_name[view.leader]
        else:
            silent.append(f"{member.member} sees {view.leader or 'nobody'} lead")
    raise OutsideFailed.one(
        "no member of this plan leads the cluster at present",
        why="; ".join(silent) or "none is in it yet",
        mend="see that a majority of the members runs, then run the same command again",
    )
