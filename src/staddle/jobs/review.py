"""review: what would go wrong, before anything is touched. The rules themselves are in review/."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from staddle.addressing.allocation import plan_addresses
from staddle.estate.survey import SurveyStanding
from staddle.jobs.anchors import origin_of_job
from staddle.jobs.answers import answers_of
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.waivers import waivers_in
from staddle.kernel import Fault, InputRefused
from staddle.package import verify_package
from staddle.review.facts import Facts
from staddle.review.review import Review, review
from staddle.review.sights import Sight

__all__ = ["ReviewReport", "review_job"]

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class ReviewReport:
    """The job as it was read, what was found in it, how old the survey is; ``sights``: of live probes, None for none sent."""

    job: Gathered
    review: Review
    survey: SurveyStanding
    sights: tuple[Sight, ...] | None = None


def review_job(
    folder: JobFolder,
    now: datetime,
    *,
    verify: bool = True,
    progress: Callable[[int, int], None] | None = None,
    sights: tuple[Sight, ...] | None = None,
) -> ReviewReport:
    """Let every rule look at a job. Changes nothing in it.

    Args: now: aware; its day in UTC is today; verify: read every byte of the package too; progress: of verifying, with
        bytes done and bytes in all; sights: what live probes saw, None where none were sent.
    Raises: InputRefused: the job, its waivers or its limits cannot be read.
    """
    job = gather(folder, now)
    waivers = waivers_in(folder, now)
    facts = facts_of(job, now, verify=verify, progress=progress, sights=sights)
    return ReviewReport(
        job=job,
        review=review(facts, waivers),
        survey=job.survey(now),
        sights=sights,
    )


def facts_of(
    job: Gathered,
    now: datetime,
    *,
    verify: bool,
    progress: Callable[[int, int], None] | None = None,
    sights: tuple[Sight, ...] | None = None,
) -> Facts:
    """Everything that is known of a job, with the faults of what could not be made."""
    _, address_faults = _made(
        lambda: plan_addresses(job.design, job.reading.estate.networks, place=job.places.find)
    )
    answers, answer_faults = (None, ()) if job.addresses is None else _made(lambda: answers_of(job))
    verification, package_faults = (
        _made(lambda: verify_package(job.package_path, origin=origin_of_job(job, now), progress=progress))
        if verify
        else (None, ())
    )
    return Facts(
        design=job.design,
        places=job.places,
        today=now.date(),
        now=now,
        survey_age_limit_days=job.survey(now).limit_days,
        estate=job.reading.estate,
        estate_findings=job.reading.findings,
        package=job.package,
        package_faults=package_faults,
        verification=verification,
        profile=job.profile,
        problem=job.problem,
        placement_faults=tuple(fault for fault in job.open_faults if fault not in address_faults),
        seats=None if job.settled is None else job.settled.seats,
        addresses=job.addresses,
        address_faults=address_faults,
        answers=answers,
        answer_faults=answer_faults,
        limits=job.limits,
        sights=sights,
    )


def _made(make: Callable[[], T]) -> tuple[T | None, tuple[Fault, ...]]:
    try:
        return make(), ()
    except InputRefused as exc:
        return None, exc.faults
