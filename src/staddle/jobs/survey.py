"""The limit on the age of the estate's survey: past it, what is acted on is not written, and the rest says so.

One rule of the review says what is too old, and one waiver accepts it: here as there.
"""

from datetime import datetime

from staddle.design.waivers import apply_waivers
from staddle.jobs.gather import Gathered
from staddle.jobs.surveyage import old_survey
from staddle.jobs.waivers import waivers_in
from staddle.kernel import Fault, Finding, NotAllowed

__all__ = ["refuse_old_survey", "survey_findings"]


def survey_findings(job: Gathered, now: datetime) -> tuple[Finding, ...]:
    """The finding that the survey is past its limit; () where it is not, or a waiver accepts it today.

    Raises: InputRefused: the waivers cannot be read.
    """
    found = old_survey(job.reading.estate.name, job.survey(now))
    if not found:
        return ()
    kept = apply_waivers(found, waivers_in(job.folder, now), today=now.date()).kept
    return tuple(finding for finding in kept if finding in found)


def refuse_old_survey(job: Gathered, now: datetime) -> None:
    """Raises: NotAllowed: the survey is past its limit, and nobody accepted that."""
    if found := survey_findings(job, now):
        raise NotAllowed(
            *(
                Fault(
                    what=one.what,
                    where=str(job.estate_folder / one.where),
                    why=one.why,
                    mend=f"{one.mend}; a waiver of {one.rule} accepts it by name",
                )
                for one in found
            )
        )
