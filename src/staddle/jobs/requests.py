"""requests: what other people must do before the window, written as sheets, and looked at where that can be done."""

import asyncio
import getpass
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from enum import StrEnum

from staddle.answers.asking import Asked, all_requests
from staddle.answers.duedates import due_dates_ics
from staddle.answers.requestfile import RequestsFile, read_requests
from staddle.answers.requestforms import requests_csv, requests_html, requests_text
from staddle.answers.requests import Probe, ProbeKind, Request, RequestsSheet, dated, due_plan
from staddle.estate.survey import SurveyStanding
from staddle.jobs.folder import JobFolder, read_text, write_text
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.looks import AT_ONCE, look_at
from staddle.jobs.survey import refuse_old_survey, survey_findings
from staddle.kernel import Finding, OutsideFailed, SystemClock, SystemRandom
from staddle.probes.dns import DNS_PORT
from staddle.review.sights import Saw, Sight

__all__ = [
    "Checked",
    "RequestsReport",
    "Seen",
    "Standing",
    "asked_of",
    "check_requests",
    "make_requests",
    "planned_looks",
    "requests_of",
    "survey_of_requests",
]


class Standing(StrEnum):
    """What is known of a request or of one of its probes. ``SIGNED`` was said by a person, ``DONE`` was seen."""

    DONE = "done"
    SIGNED = "signed"
    NOT_YET = "not yet"
    NOT_CHECKED = "not checked"


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestsReport:
    """The sheet, and the files that were written. Without due dates there is no calendar."""

    sheet: RequestsSheet
    files: tuple[str, ...]
    survey: SurveyStanding


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What one probe came to."""

    probe: str
    standing: Standing
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Checked:
    """How one request stands. ``is_open``: it is due, and neither seen done nor signed."""

    kind: str
    title: str
    standing: Standing
    is_open: bool
    looks: tuple[Seen, ...]


def requests_of(folder: JobFolder, now: datetime) -> RequestsSheet:
    """The requests of a job. Changes nothing in it.

    Raises: InputRefused: the job or its requests.yaml cannot be read.
    """
    return _sheet(gather(folder, now), now)


def survey_of_requests(folder: JobFolder, now: datetime) -> tuple[SurveyStanding, tuple[Finding, ...]]:
    """How old the survey is that the requests stand on, and the finding where that is too old."""
    job = gather(folder, now)
    return job.survey(now), survey_findings(job, now)


def _sheet(job: Gathered, now: datetime) -> RequestsSheet:
    folder = job.folder
    file = RequestsFile()
    if folder.requests.is_file():
        file = _read(folder, now)
    asked = asked_of(job)
    due = due_plan(job.design.windows, now, file.holidays)
    return RequestsSheet(
        job=job.design.job.name,
        cluster=job.design.job.cluster,
        zone=job.design.names.zone,
        change=job.design.job.change,
        drawn=job.design.job.engineer or getpass.getuser(),
        made_at=now.astimezone(UTC),
        due=due,
        requests=dated(all_requests(asked), file, due),
        survey=job.survey(now).sentence(),
    )


def asked_of(job: Gathered) -> Asked:
    """What the requests of a job are made of. Raises: InputRefused: its addresses cannot be planned."""
    return Asked(
        design=job.design,
        addresses=job.get_addresses(),
        package=job.package,
        profile=job.profile,
        size_id=job.size_id,
        seats=job.valid_seats() or (),
    )


def _read(folder: JobFolder, now: datetime) -> RequestsFile:
    return read_requests(read_text(folder.requests), where="requests.yaml", today=_latest_day(now)).value


def _latest_day(now: datetime) -> date:
    # Days in the file are local ones, and the day begins first at UTC+14.
    return now.astimezone(timezone(timedelta(hours=14))).date()


def make_requests(folder: JobFolder, now: datetime) -> RequestsReport:
    """Write sheets/requests.txt, .csv, .html and, where there are due dates, .ics; one of before is taken away.

    Raises: InputRefused: as requests_of. NotAllowed: the survey is past its limit. OutsideFailed: the file system refuses.
    """
    job = gather(folder, now)
    refuse_old_survey(job, now)
    sheet = _sheet(job, now)
    files = {
        "requests.txt": requests_text(sheet),
        "requests.csv": requests_csv(sheet),
        "requests.html": requests_html(sheet),
        "requests.ics": due_dates_ics(sheet),
    }
    for name, text in files.items():
        if text:
            write_text(folder.sheets / name, text)
    if not files["requests.ics"]:  # dates of a window that is no more would mislead whoever opens them
        try:
            (folder.sheets / "requests.ics").unlink(missing_ok=True)
        except OSError as exc:
            raise OutsideFailed.one(f"requests.ics could not be removed: {exc.strerror}") from exc
    return RequestsReport(
        sheet=sheet,
        files=tuple(f"sheets/{name}" for name, text in files.items() if text),
        survey=job.survey(now),
    )


def planned_looks(sheet: RequestsSheet) -> tuple[str, ...]:
    """Every probe of the sheet as a line, those that send nothing too, before any is run."""
    return tuple(f"{one.title}: {probe.text()}" for one in sheet.requests for probe in one.probes)


async def check_requests(sheet: RequestsSheet, *, dns_port: int = DNS_PORT) -> tuple[Checked, ...]:
    """Run what can be run from here. Nothing counts as done that was not seen.

    Returns: one a request, in the order of the sheet.
    """
    slots = asyncio.Semaphore(AT_ONCE)

    async def look(one: Request, probe: Probe) -> Seen:
        async with slots:
            standing, why = await _look(one, probe, dns_port)
        return Seen(probe=probe.text(), standing=standing, why=why)

    async def check(one: Request) -> Checked:
        looks = await asyncio.gather(*(look(one, probe) for probe in one.probes))
        standing = _together(one, looks)
        is_open = one.is_due(sheet.due.today) and standing not in (Standing.DONE, Standing.SIGNED)
        return Checked(kind=one.kind, title=one.title, standing=standing, is_open=is_open, looks=tuple(looks))

    return tuple(await asyncio.gather(*(check(one) for one in sheet.requests)))


def _together(one: Request, looks: list[Seen]) -> Standing:
    standings = {seen.standing for seen in looks}
    if Standing.NOT_YET in standings:  # what was seen to be wrong weighs more than what somebody signed
        return Standing.NOT_YET
    if standings == {Standing.DONE}:
        return Standing.DONE
    return Standing.SIGNED if one.signed_by else Standing.NOT_CHECKED


async def _look(one: Request, probe: Probe, dns_port: int) -> tuple[Standing, str]:
    match probe.kind:
        case ProbeKind.PERSON if one.signed_by:
            return Standing.SIGNED, f"by {one.signed_by} on {one.signed_on}"
        case ProbeKind.PERSON:
            return Standing.NOT_YET, "nobody signed it in requests.yaml"
        case ProbeKind.REACH:
            return Standing.NOT_CHECKED, "not checked here"
    sights = await look_at(probe, dns_port=dns_port, clock=SystemClock(), random=SystemRandom())
    if probe.kind is ProbeKind.SILENT:
        (sight,) = sights
        if sight.saw is not Saw.AS_WANTED:
            return Standing.NOT_YET, f"{probe.target} is in use: something answered, or refused"
        # Silence does not show that an address is kept for us: it may be a machine that is switched off.
        return Standing.NOT_CHECKED, f"nothing answers ({sight.why}); that it is kept is for a person to sign"
    return _names(probe, sights)


def _names(probe: Probe, sights: Sequence[Sight]) -> tuple[Standing, str]:
    wrong = [f"{one.asked}: {one.why}" for one in sights if one.saw in (Saw.OTHERWISE, Saw.ABSENT)]
    silent = [f"{one.asked}: {one.why}" for one in sights if one.saw is Saw.NO_ANSWER]
    unsent = [one.why for one in sights if one.saw is Saw.NOT_SENT]
    if wrong:
        return Standing.NOT_YET, "; ".join(wrong)
    if silent or unsent:
        return Standing.NOT_CHECKED, "; ".join((*silent, *unsent))
    return Standing.DONE, f"seen at {', '.join(probe.ask)}"
