"""A folder of tables to an Estate, with every fault at once. Format: docs/estate-tables.md.

Not here: one file (rows.py), one cell (cells.py), agreement between the tables (references.py).
"""

from dataclasses import dataclass
from pathlib import Path

from staddle.estate.columns import DOMAINS, GUESTS, HOSTS, LINKS, NETWORKS, POOLS
from staddle.estate.model import Estate
from staddle.estate.references import check_links, check_references
from staddle.estate.rows import KeptAside, read_rows
from staddle.estate.strain import strain_findings
from staddle.estate.survey import DEFAULT_LIMIT_DAYS, Survey, read_survey
from staddle.kernel import Fault, Finding, InputRefused

__all__ = ["EstateReading", "read_estate", "survey_estate"]


@dataclass(frozen=True, slots=True, kw_only=True)
class EstateReading:
    """An estate, what is remarkable about it, the columns that were kept aside, and how old its survey may grow."""

    estate: Estate
    findings: tuple[Finding, ...]
    aside: tuple[KeptAside, ...]
    age_limit_days: int = DEFAULT_LIMIT_DAYS


def read_estate(folder: Path) -> Estate:
    """The estate in that folder, without its findings.

    Raises: InputRefused: every fault of every table.
    """
    return survey_estate(folder).estate


def survey_estate(folder: Path) -> EstateReading:
    """The estate in that folder with its findings: unknown columns, strained hosts and pools.

    Raises: InputRefused: every fault of every table, each as file:row:column-name.
    """
    if not folder.is_dir():
        raise InputRefused.one(
            "there is no such folder of tables",
            where=str(folder),
            mend="name the folder that holds survey.yaml and hosts.csv",
        )
    survey, faults = _survey(folder)
    domains, hosts, pools, networks, guests, links = all_rows = tuple(
        read_rows(folder, table) for table in (DOMAINS, HOSTS, POOLS, NETWORKS, GUESTS, LINKS)
    )
    for found in all_rows:
        faults += found.faults
    faults += check_references(domains, hosts, pools, networks, guests)
    faults += check_links(links, domains)
    if faults or survey is None:
        raise InputRefused(*faults)
    estate = Estate(
        name=survey.name,
        surveyed=survey.surveyed,
        surveyed_by=survey.surveyed_by,
        domains=tuple(row.value for row in domains.rows),
        hosts=tuple(row.value for row in hosts.rows),
        pools=tuple(row.value for row in pools.rows),
        networks=tuple(row.value for row in networks.rows),
        guests=tuple(row.value for row in guests.rows),
        links=tuple(row.value for row in links.rows),
    )
    findings = [finding for found in all_rows for finding in found.findings]
    return EstateReading(
        estate=estate,
        findings=(*findings, *strain_findings(estate)),
        aside=tuple(column for found in all_rows for column in found.aside),
        age_limit_days=survey.age_limit_days or DEFAULT_LIMIT_DAYS,
    )


def _survey(folder: Path) -> tuple[Survey | None, list[Fault]]:
    try:
        return read_survey(folder), []
    except InputRefused as exc:
        return None, list(exc.faults)
