"""Whom a step speaks to: a member's address with its confirmed fingerprint and, where needed, a secret.

A member whose fingerprint was not confirmed cannot be spoken to: there is no way round in here.
"""

from staddle.kernel import OurFault
from staddle.plan.ports import Target, Tools
from staddle.trust.fingerprints import Fingerprint
from staddle.trust.secretnames import FIRST_PASSWORD, PASSWORD
from staddle.trust.secrets import Secret

__all__ = ["ROTATED", "fingerprint_of_member", "target_of"]

ROTATED = "cluster/rotate-password"


def fingerprint_of_member(member: str, tools: Tools) -> Fingerprint:
    """The fingerprint that was confirmed for this member, from the journal.

    Raises: OurFault: a step is asked to speak to a member whose fingerprint was never confirmed.
    """
    evidence = tools.evidence(f"{member}/confirm-fingerprint")
    if evidence is None:
        raise OurFault.one(
            f"{member} has no confirmed fingerprint", why="the plan lets a step speak to it too early"
        )
    return Fingerprint.parse(str(evidence["fingerprint"]))


def target_of(member: str, tools: Tools, *, secret: bool | Secret = False) -> Target:
    """The member as it is spoken to; ``secret=True`` takes the administrator's password that is now in force."""
    order = tools.plan.get_member(member)
    chosen: Secret | None = None
    if isinstance(secret, Secret):
        chosen = secret
    elif secret:
        chosen = tools.vault.get(FIRST_PASSWORD if tools.evidence(ROTATED) is None else PASSWORD)
    return Target(
        member=member,
        address=order.address,
        port=order.port,
        pinned=fingerprint_of_member(member, tools),
        user=tools.appliance.user if chosen is not None else "",
        secret=chosen,
    )
