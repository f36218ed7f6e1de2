"""The command prove: show from every member that all is well."""

import asyncio
import getpass
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import Screen
from staddle.jobs.prove import keep_proof, open_proof
from staddle.jobs.prove import prove as prove_now
from staddle.kernel import SystemClock
from staddle.proof.junit import junit_text
from staddle.proof.model import Proof
from staddle.proof.observe import planned_probes

__all__ = ["prove", "show_proof"]


def prove(
    *,
    rehearsal: Annotated[bool, Parameter(negative=())] = False,
    junit: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Show from every member that all is well.

    All see the same cluster, and what is written through one is read through every other.

    Example: staddle prove --rehearsal

    Parameters
    ----------
    rehearsal
        The newest rehearsal instead of the newest rollout.
    junit
        Print JUnit XML instead of text.
    """
    screen = Screen("prove", as_json=options.json or junit)
    folder = options.folder()
    rollout, expected = open_proof(folder, SystemClock(), rehearsal=rehearsal, actor=getpass.getuser())
    screen.say("probes, repeated until two rounds in a row agree:")
    for line in planned_probes(expected):
        screen.say(f"  {line}")
    proof = asyncio.run(prove_now(rollout))
    written = keep_proof(rollout, proof)
    show_proof(screen, proof)
    screen.show(f"kept in {' and '.join(written)}")
    if junit:
        screen.write(junit_text(proof))
    elif options.json:
        screen.document("good" if proof.good else "not good", proof)
    return 0 if proof.good else 1


def show_proof(screen: Screen, proof: Proof) -> None:
    """Who sees whom, and every check that is not good."""
    members = list(dict.fromkeys(sight.viewer for sight in proof.sights))
    marks = {(sight.viewer, sight.viewed): sight.mark for sight in proof.sights}
    screen.table(
        "who sees whom (a row is one member's view)",
        ("", *members),
        [(viewer, *(marks[viewer, viewed] for viewed in members)) for viewer in members],
    )
    for check in proof.failed():
        screen.show(f"not good: {check.subject}: {check.name}: expected {check.expected}, seen {check.seen}")
    good = len(proof.checks) - len(proof.failed())
    verdict = "the proof is good" if proof.good else "the proof is NOT good"
    screen.show(f"{verdict}: {good} of {len(proof.checks)} checks, {proof.rounds} rounds in agreement")
