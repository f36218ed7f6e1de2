"""place: find the placement, or keep the settled one while it is valid; settle it when the engineer agrees."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime

from staddle.estate.survey import SurveyStanding
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.survey import refuse_old_survey, survey_findings
from staddle.kernel import Finding, InputRefused, NotAllowed, digest_of
from staddle.placement.model import BestShown, GoodWithBound, InputInvalid, Outcome, Placement, Problem
from staddle.placement.paper import placement_text
from staddle.placement.solve import kept, solve

__all__ = ["Kept", "PlaceReport", "found_placement", "place", "settle"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The settled placement still meets every rule. It was not compared with others, so it is not called the best."""

    placement: Placement


@dataclass(frozen=True, kw_only=True)
class PlaceReport:
    """The question and its outcome; how old the survey is that it stands on, and the finding where that is too old."""

    job: Gathered
    problem: Problem
    outcome: Outcome | Kept
    survey: SurveyStanding
    findings: tuple[Finding, ...] = ()

    @property
    def problem_digest(self) -> str:
        """Digest of the question without what was settled before: it tells whether the same question is asked."""
        return digest_of((self.problem.members, self.problem.hosts, self.problem.pools, self.problem.apart))


def place(
    folder: JobFolder,
    now: datetime,
    *,
    anew: bool = False,
    settling: bool = False,
    progress: Callable[[str], None] | None = None,
) -> PlaceReport:
    """Answer the placement question of a job.

    Args: anew: search even though the settled placement is valid; settling: it is asked in order to settle it.
    Raises: NotAllowed: to be settled, and the survey is past its limit. InputRefused: the job cannot be read, or the question itself is wrong.
    """
    job = gather(folder, now)
    if settling:
        refuse_old_survey(job, now)
    problem = job.get_problem()
    findings = survey_findings(job, now)
    settled = None if anew else kept(problem)
    if settled is not None:
        return PlaceReport(
            job=job,
            problem=problem,
            outcome=Kept(placement=settled),
            survey=job.survey(now),
            findings=findings,
        )
    outcome = solve(problem, progress=progress)
    if isinstance(outcome, InputInvalid):
        raise InputRefused(*outcome.faults)
    return PlaceReport(job=job, problem=problem, outcome=outcome, survey=job.survey(now), findings=findings)


def found_placement(outcome: Outcome | Kept) -> Placement | None:
    """The placement of an outcome that has one."""
    return outcome.placement if isinstance(outcome, BestShown | GoodWithBound | Kept) else None


def settle(report: PlaceReport, *, by: str, on: date) -> None:
    """Write placement.yaml: from now on it is kept while it is valid.

    Raises: NotAllowed: there is no placement to settle.
    """
    placement = found_placement(report.outcome)
    if placement is None:
        raise NotAllowed.one(
            "there is no placement to settle", mend="change the design or the estate, then place again"
        )
    text = placement_text(placement, problem_digest=report.problem_digest, settled_by=by, settled_on=on)
    write_text(report.job.folder.placement, text)
