"""The sheet jobs: every job of the estate, where it stands, and the room that was promised to it."""

from typing import Final

from staddle.jobs.neighbours import jobs_of_estate
from staddle.web.sheet import Ask, Sheet, Shown

__all__ = ["SHEET"]


def _view(ask: Ask) -> Shown:
    return Shown(data=jobs_of_estate(ask.place.folder, ask.now))


SHEET: Final = Sheet(
    name="jobs",
    title="Jobs of the estate",
    purpose="Every job that shares this estate: where it stands, what comes next, what room it was promised.",
    order=130,
    view=_view,
)
