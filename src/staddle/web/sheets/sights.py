"""The sheet who sees whom: the newest proof as a matrix, what was written and read, and every check that failed."""

import asyncio
from dataclasses import dataclass
from typing import Final

from staddle.dossier.sight_drawing import exchange_sentence, sight_sentence, sight_svg
from staddle.jobs.journal import all_journals
from staddle.jobs.prove import keep_proof, kept_proof, open_proof, prove
from staddle.jobs.rollouts import REHEARSAL
from staddle.proof.model import Proof
from staddle.web.sheet import Ask, Moved, Sheet, Shown

__all__ = ["SHEET", "SightsData"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SightsData:
    """One rollout's newest proof; ``rollout`` is "" where there is no rollout, ``proof`` None where nothing was proven."""

    rollout: str
    purpose: str
    others: tuple[tuple[str, str], ...]
    proof: Proof | None
    drawing: str = ""
    drawing_words: str = ""
    exchanges: tuple[str, ...] = ()


def _view(ask: Ask) -> Shown:
    newest = {one.head.purpose: one.head.rollout_id for one in all_journals(ask.place.folder)}
    last = tuple(newest.items())[-1] if newest else ("", "")
    purpose = ask.query.get("of", last[0])
    rollout = newest.get(purpose, "")
    proof = kept_proof(ask.place.folder, rollout) if rollout else None
    return Shown(
        data=SightsData(
            rollout=rollout,
            purpose=purpose,
            others=tuple((p, r) for p, r in newest.items() if p != purpose),
            proof=proof,
            drawing="" if proof is None else sight_svg(proof, with_hatchings=False),
            drawing_words="" if proof is None else sight_sentence(proof),
            exchanges=() if proof is None else tuple(map(exchange_sentence, proof.exchanges)),
        )
    )


def _look(ask: Ask) -> Moved:
    purpose = ask.form.get("of", "")
    rollout, _ = open_proof(
        ask.place.folder, ask.place.clock, rehearsal=purpose == REHEARSAL, actor=ask.place.actor
    )
    try:
        keep_proof(rollout, asyncio.run(prove(rollout)))
    finally:
        rollout.store.close()
    return Moved(to=f"/sights?of={rollout.head.purpose}")


SHEET: Final = Sheet(
    name="sights",
    title="Who sees whom",
    purpose="What was seen from every member of every other, and what was written through one and read through all.",
    order=100,
    view=_view,
    acts={"look": _look},
)
