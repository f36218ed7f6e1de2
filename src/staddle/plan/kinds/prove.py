"""Prove the cluster from every member."""

from staddle.plan.kind import Facts, Minutes
from staddle.plan.proving import ProvingKind


class Prove(ProvingKind):
    facts = Facts(
        name="prove",
        title="prove the cluster",
        goal="from every member all are seen, and what is written through one is read through each other",
        probe="the proof, repeated until it agrees",
        acts=False,
        restarts=True,
        minutes=Minutes(optimistic=0.5, likely=3, pessimistic=15),
        deadline_s=180,
        settle=2,
    )


KIND = Prove()
