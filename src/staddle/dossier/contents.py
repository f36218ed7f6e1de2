"""The dossier's sections in their order, and what its title block says. The same for PDF and HTML."""

from dataclasses import dataclass

from staddle.dossier.blocks import Section
from staddle.dossier.model import Report
from staddle.dossier.sections.answers import answers
from staddle.dossier.sections.availability import availability
from staddle.dossier.sections.findings import findings
from staddle.dossier.sections.journal import journal
from staddle.dossier.sections.limits import limits
from staddle.dossier.sections.package import package
from staddle.dossier.sections.placement import placement
from staddle.dossier.sections.proof import proof
from staddle.dossier.sections.requests import requests
from staddle.dossier.sections.signatures import signatures
from staddle.dossier.sections.summary import summary
from staddle.dossier.sections.wording import day

__all__ = ["TitleBlock", "contents", "title_block"]


@dataclass(frozen=True, slots=True, kw_only=True)
class TitleBlock:
    """What stands on every sheet. The fields are those of ISO 7200 as far as they apply (from memory)."""

    cluster: str
    job: str
    change: str
    revision: str
    drawn: str
    checked: str
    date: str


def title_block(report: Report) -> TitleBlock:
    """The title block of a report. Nobody has checked it before they sign: the field holds who is to."""
    checked = next((one.name for one in report.signatories if one.role == "checked"), "")
    return TitleBlock(
        cluster=report.job.cluster,
        job=report.job.job,
        change=report.job.change or "none given",
        revision=report.revision,
        drawn=report.job.engineer or "not named",
        checked=checked or "see last sheet",
        date=day(report.made_at.date()),
    )


def contents(report: Report, *, with_hatchings: bool = True) -> tuple[Section, ...]:
    """All sections. Args: with_hatchings: whether each drawing defines its hatchings itself."""
    return (
        summary(report),
        package(report),
        findings(report),
        limits(report),
        placement(report, with_hatchings=with_hatchings),
        *availability(report, with_hatchings=with_hatchings),
        requests(report),
        answers(report),
        journal(report),
        proof(report, with_hatchings=with_hatchings),
        signatures(report),
    )
