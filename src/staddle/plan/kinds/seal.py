"""Seal the rollout: one last proof with the new password. From here on back-out is closed."""

from staddle.plan.kind import BackOut, Facts
from staddle.plan.proving import ProvingKind


class Seal(ProvingKind):
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


KIND = Seal()
