"""dossier: the record of a job for people, as PDF and HTML, with the placement's drawing beside it."""

from dataclasses import dataclass
from datetime import datetime

from staddle.dossier.elevation import Elevation, placement_drawing_data
from staddle.dossier.gathering import (
    answer_sheet,
    journal_record,
    limits_record,
    package_facts,
    pinned_inputs,
    placement_record,
    requests_record,
    tasks_of,
)
from staddle.dossier.html import html_text
from staddle.dossier.model import (
    AnswerSheet,
    JobFacts,
    JournalRecord,
    NotLooked,
    PlacementRecord,
    Report,
    Signatory,
    Work,
)
from staddle.dossier.pdf import pdf_bytes
from staddle.dossier.picture import picture_svg
from staddle.estate.survey import SurveyStanding
from staddle.jobs.availability import availability_of_seats
from staddle.jobs.folder import JobFolder, write_bytes, write_text
from staddle.jobs.gather import Gathered
from staddle.jobs.journal import JournalReport, report_of
from staddle.jobs.limits import limits_in
from staddle.jobs.prove import kept_proof
from staddle.jobs.requests import requests_of
from staddle.jobs.review import ReviewReport, review_job
from staddle.jobs.rollouts import last_rollout, open_journal
from staddle.jobs.sheets import sheets_of
from staddle.jobs.standing import past_of, standing_sentence
from staddle.kernel import InputRefused
from staddle.package import verify_package, with_digests
from staddle.placement.data import Tables
from staddle.placement.explain import explain
from staddle.placement.model import Placement
from staddle.plan.kind import BackOut, all_kinds
from staddle.rollout.journal import RolloutHead
from staddle.survival.availability import Availability

__all__ = ["DossierReport", "elevation_of", "make_dossier", "report_of_job", "report_of_review"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DossierReport:
    """The report, and the files that were written, below the job folder."""

    report: Report
    files: tuple[str, ...]
    survey: SurveyStanding


def make_dossier(folder: JobFolder, now: datetime, *, revision: str) -> DossierReport:
    """Write records/dossier.pdf and .html and records/placement.svg from what is known now.

    Raises: InputRefused: the job or its rates.yaml cannot be read.
    """
    review = review_job(folder, now)
    report = report_of_review(review, now, revision=revision)
    write_bytes(folder.records / "dossier.pdf", pdf_bytes(report))
    write_text(folder.records / "dossier.html", html_text(report))
    files = ["records/dossier.pdf", "records/dossier.html"]
    if report.placement is not None:
        write_text(folder.records / "placement.svg", picture_svg(report))
        files.append("records/placement.svg")
    return DossierReport(report=report, files=tuple(files), survey=review.survey)


def report_of_job(folder: JobFolder, now: datetime, *, revision: str) -> Report:
    """Everything that the record says, from design, estate, package, findings, placement, journal and proof."""
    return report_of_review(review_job(folder, now), now, revision=revision)


def report_of_review(review: ReviewReport, now: datetime, *, revision: str) -> Report:
    """The same from a review that was just made."""
    job = review.job
    folder = job.folder
    verified = verify_package(job.package_path)
    store = open_journal(folder)
    head = last_rollout(store, job.design.job.name)
    journal = None if head is None else report_of(store, head)
    store.close()
    facts = package_facts(
        with_digests(job.package, verified),
        file_name=job.package_path.name,
        file_bytes=job.package_path.stat().st_size,
        sha256=verified.package_sha256,
        chosen_size=job.size_id,
        licence_accepted_by=job.design.package.licence_accepted_by,
        licence_accepted_on=job.design.package.licence_accepted_on,
    )
    return Report(
        job=JobFacts(
            job=job.design.job.name,
            cluster=job.design.job.cluster,
            owner=job.design.job.owner,
            engineer=job.design.job.engineer,
            change=job.design.job.change,
            approved_by=job.design.job.approved_by,
            approved_on=job.design.job.approved_on,
        ),
        revision=revision,
        made_at=now,
        status=standing_sentence(
            job, review.review, None if journal is None else past_of(journal.head, journal.entries)
        ),
        package=facts,
        pinned=() if head is None else pinned_inputs(head),
        kept=review.review.kept,
        waived=review.review.waived,
        not_looked=tuple(NotLooked(rule=rule, why=why) for rule, why in review.review.not_looked),
        placement=_placement(job),
        availability=_availability(job),
        surveyed=job.reading.estate.surveyed,
        surveyed_by=job.reading.estate.surveyed_by,
        survey_limit_days=review.survey.limit_days,
        sheets=_sheets(job, now),
        drifted=() if head is None else _drifted(head, job),
        work=_work(job, head),
        requests=None if job.addresses is None else requests_record(requests_of(folder, now)),
        limits=None if (limits := limits_in(folder)) is None else limits_record(limits),
        journal=None if journal is None else _journal(journal),
        proof=None if head is None else kept_proof(folder, head.rollout_id),
        signatories=(
            Signatory(role="carried out", name=job.design.job.engineer),
            Signatory(role="checked"),
            Signatory(role="accepted"),
        ),
    )


def _sheets(job: Gathered, now: datetime) -> tuple[AnswerSheet, ...]:
    try:
        return tuple(map(answer_sheet, sheets_of(job, now)))
    except InputRefused:
        return ()  # the findings tell why there are no answers yet


def _drifted(head: RolloutHead, job: Gathered) -> tuple[str, ...]:
    now = job.inputs()
    return tuple(name for name, digest in head.inputs.items() if now.get(name, digest) != digest)


def _work(job: Gathered, head: RolloutHead | None) -> Work:
    kinds = [kind.facts for kind in all_kinds().values() if kind.facts.back_out is BackOut.NONE]
    return Work(
        tasks=() if head is None else tasks_of(head.plan.steps),
        windows=tuple(f"{one.opens} to {one.closes} {one.zone}" for one in job.design.windows),
        fixed=tuple((facts.title, facts.back_out_note) for facts in kinds),
    )


def _journal(journal: JournalReport) -> JournalRecord:
    return journal_record(journal.head, journal.entries)


def _availability(job: Gathered) -> Availability | None:
    seats = job.valid_seats()
    return None if seats is None else availability_of_seats(job.folder, job, job.get_problem(), seats)


def _placement(job: Gathered) -> PlacementRecord | None:
    if job.problem is None or job.settled is None or job.valid_seats() is None:
        return None
    _, passed_over = explain(Tables(job.problem), job.settled.seats, next_best={})
    placement = Placement(seats=job.settled.seats, reasons=job.settled.reasons, passed_over=passed_over)
    return placement_record(
        job.reading.estate,
        job.problem,
        placement,
        settled_by=job.settled.settled_by,
        settled_on=job.settled.settled_on,
    )


def elevation_of(job: Gathered) -> Elevation | None:
    """What the placement drawing of a job shows, with its members while the settled placement is valid.

    Returns: None while the placement question itself cannot be asked.
    """
    if job.problem is None:
        return None
    placement = None
    if job.settled is not None and job.valid_seats() is not None:
        placement = Placement(seats=job.settled.seats, reasons=job.settled.reasons)
    return placement_drawing_data(job.reading.estate, job.problem, placement)
