"""Whether a profile can work at all: the acts it must have, what they must keep, expressions that can be read. Speaks to nobody."""

from typing import Final

import jmespath

from staddle.appliances.filling import filled_query
from staddle.design.profile import Profile
from staddle.kernel import Fault

__all__ = ["NEEDED_ACTS", "profile_faults"]

NEEDED_ACTS: Final = {
    "health": ("healthy", "in_cluster", "name", "version", "processors", "memory_mib", "time"),
    "view": ("cluster_id", "cluster", "leader", "deputy", "members"),
    "found": (),
    "issue-join-secret": ("secret",),
    "join": (),
    "change-password": (),
    "write": (),
    "read": ("value",),
}
"""The acts that every profile has, and what each must keep."""


def profile_faults(profile: Profile, *, where: str) -> tuple[Fault, ...]:
    """Everything that would stop the profile from working: missing acts, things not kept, bad expressions."""
    faults = []
    for act, kept in NEEDED_ACTS.items():
        if act not in profile.acts:
            faults.append(
                Fault(what=f'the profile has no act "{act}"', where=f"{where}: acts", mend="add its blocks")
            )
            continue
        names = {name for block in profile.acts[act] for name in block.keep}
        faults += [
            Fault(
                what=f'act "{act}" does not keep "{name}"',
                where=f"{where}: acts.{act}",
                mend="add it to keep",
            )
            for name in kept
            if name not in names
        ]
    for line in profile.cluster:
        faults += [
            Fault(
                what=f'cluster step "{line.step}" names act "{act}", which the profile does not have',
                where=where,
            )
            for act in (line.act, line.look)
            if act not in profile.acts
        ]
    for act, blocks in profile.acts.items():
        for block in blocks:
            for expression in (*block.keep.values(), *filter(None, [block.expect.where])):
                try:
                    jmespath.compile(filled_query(expression, None))
                except jmespath.exceptions.JMESPathError as exc:
                    what = f'act "{act}": "{expression}" is not JMESPath'
                    why = str(exc).splitlines()[0]
                    faults.append(Fault(what=what, where=f"{where}: acts.{act}", why=why))
    if not any(block.ask.signed_in for block in profile.acts.get("view", [])) and "view" in profile.acts:
        faults.append(
            Fault(
                what='act "view" is never signed in',
                where=f"{where}: acts.view",
                why="it is also asked to see which password a member accepts",
                mend="leave signed_in at true for one of its blocks",
            )
        )
    return tuple(faults)
