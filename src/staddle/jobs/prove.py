"""prove: look at the cluster from every member until two rounds in a row agree, and keep what was seen."""

from datetime import timedelta
from typing import Final

from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.rollouts import OpenRollout, open_newest
from staddle.jobs.toolbox import expected_of
from staddle.kernel import Clock, NotAllowed, from_json, pretty_json
from staddle.proof.junit import junit_text
from staddle.proof.model import Expected, Proof

__all__ = ["keep_proof", "kept_proof", "open_proof", "prove"]

_ROUNDS: Final = 2
_DEADLINE: Final = timedelta(seconds=30)
_PAUSE_S: Final = 0.2


def open_proof(
    folder: JobFolder, clock: Clock, *, rehearsal: bool, actor: str
) -> tuple[OpenRollout, Expected]:
    """The newest rollout (or rehearsal), and what its proof expects.

    Raises: NotAllowed: there is none.
    """
    rollout = open_newest(folder, clock, rehearsal=rehearsal, actor=actor)
    return rollout, expected_of(rollout.head.plan, rollout.run().evidence)


async def prove(rollout: OpenRollout) -> Proof:
    """The proof of a rollout's cluster; good only when two rounds in a row were.

    Returns: the last round's proof, good or bad, after at most 30 s; every round writes and reads its own values.
    Raises: NotAllowed: not every member was confirmed yet, so there is nothing to compare with.
    """
    run = rollout.run()
    missing = [
        m.member for m in rollout.head.plan.members if run.evidence(f"{m.member}/confirm-fingerprint") is None
    ]
    if missing:
        raise NotAllowed.one(
            "the cluster cannot be proven yet",
            where=rollout.head.rollout_id,
            why="no confirmed fingerprint in the journal for " + ", ".join(missing),
            mend="carry the rollout on first",
        )
    tools = rollout.workbench.tools(lambda: run)
    give_up = rollout.clock.now() + _DEADLINE
    good = 0
    while True:
        proof = await rollout.workbench.prove_once(tools)
        good = good + 1 if proof.good else 0
        if good == _ROUNDS:
            return _with_rounds(proof, good)
        if rollout.clock.now() >= give_up:
            return _with_rounds(proof, good)
        await rollout.clock.sleep(_PAUSE_S)


def _with_rounds(proof: Proof, rounds: int) -> Proof:
    return Proof(
        at=proof.at,
        cluster=proof.cluster,
        good=proof.good and rounds >= _ROUNDS,
        rounds=rounds,
        checks=proof.checks,
        sights=proof.sights,
        exchanges=proof.exchanges,
    )


def keep_proof(rollout: OpenRollout, proof: Proof) -> tuple[str, ...]:
    """Write the proof as JSON and JUnit XML below records/. Returns: the files' names below the job folder."""
    folder = rollout.job.folder
    place = folder.records / rollout.head.rollout_id
    hide = rollout.vault.redactor().redact  # a member may echo in what it tells what was sent to it
    write_text(place / "proof.json", hide(pretty_json(proof)))
    write_text(place / "proof.junit.xml", hide(junit_text(proof)))
    return tuple(str((place / name).relative_to(folder.root)) for name in ("proof.json", "proof.junit.xml"))


def kept_proof(folder: JobFolder, rollout_id: str) -> Proof | None:
    """The newest proof of a rollout as it was kept; None if there is none.

    Raises: InputRefused: the file is not what was written.
    """
    path = folder.records / rollout_id / "proof.json"
    if not path.exists():
        return None
    return from_json(path.read_bytes(), Proof, where=str(path.relative_to(folder.root)))
