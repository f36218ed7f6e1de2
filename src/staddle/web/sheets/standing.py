"""The sheet standing: where the job stands, the worst three findings, what is next, and where the members stand."""

from dataclasses import dataclass
from typing import Final

from staddle.dossier.placement_drawing import placement_sentence, placement_svg
from staddle.jobs.dossier import elevation_of
from staddle.jobs.gather import gather
from staddle.jobs.standing import WORST, Standing, standing_of
from staddle.kernel import InputRefused
from staddle.web.sheet import Ask, Sheet, Shown
from staddle.web.words import sheet_for

__all__ = ["SHEET", "StandingData"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingData:
    """``next_sheet`` is the sheet on which the next command's work can be done, "" where it is the terminal's."""

    standing: Standing
    next_sheet: str
    more: int
    drawing: str = ""
    drawing_words: str = ""


def _view(ask: Ask) -> Shown:
    found = standing_of(ask.place.folder.root, ask.now)
    if found is None:
        raise InputRefused.one("there is no design.yaml here", where=str(ask.place.folder.root))
    drawing, words = "", ""
    if not found.faults:
        job = gather(ask.place.folder, ask.now)
        elevation = elevation_of(job)
        if elevation is not None:
            drawing = placement_svg(elevation, cluster=job.design.job.cluster, with_hatchings=False)
            words = placement_sentence(elevation)
    told = len(found.faults) or found.findings
    return Shown(
        data=StandingData(
            standing=found,
            next_sheet=sheet_for(found.next.command),
            more=max(0, told - WORST),
            drawing=drawing,
            drawing_words=words,
        )
    )


SHEET: Final = Sheet(
    name="standing",
    title="Standing",
    purpose="Where the job stands, what is worst, and what comes next.",
    order=10,
    view=_view,
)
