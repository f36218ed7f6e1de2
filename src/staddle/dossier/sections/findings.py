"""Findings that stand, findings that were waived, and what was not looked at."""

from collections.abc import Iterator
from typing import Final

from staddle.dossier.blocks import Column, Paragraph, Row, Section, Table
from staddle.dossier.model import Report
from staddle.dossier.sections.wording import day
from staddle.kernel import Finding, worst_first

__all__ = ["findings"]

PRACTICE: Final = "common practice, no source"
"""Said once of all of them, instead of beside each."""


def findings(report: Report) -> Section:
    """The section."""
    return Section(
        title="Findings and waivers",
        blocks=(
            _kept(report),
            Paragraph(text=f"Without a source: {PRACTICE}.", size="small"),
            _waived(report),
            _not_looked(report),
        ),
    )


def _together(found: tuple[Finding, ...]) -> Iterator[tuple[Finding, ...]]:
    """The findings of one rule, severity, reason and mend together, in the order of the first of each."""
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for one in found:
        groups.setdefault((one.severity, one.rule, one.why, one.mend), []).append(one)
    yield from (tuple(group) for group in groups.values())


def _said(group: tuple[Finding, ...]) -> str:
    return "; ".join(f"{one.what} ({one.where})" if one.where else one.what for one in group)


def _below(one: Finding) -> tuple[tuple[str, str], ...]:
    lines = (("why", one.why), ("mend", one.mend), ("source", one.source))
    return tuple((label, text) for label, text in lines if text and text != PRACTICE)


def _kept(report: Report) -> Table:
    return Table(
        title="Findings that stand, those of one rule together",
        columns=(
            Column(head="severity", share=1),
            Column(head="rule", share=2),
            Column(head="what", share=5),
        ),
        rows=tuple(
            Row(
                cells=(str(group[0].severity), group[0].rule, _said(group)),
                attention=group[0].severity.rank < 2,
                below=_below(group[0]),
            )
            for group in _together(worst_first(report.kept))
        ),
        empty="None stands.",
    )


def _waived(report: Report) -> Table:
    return Table(
        title="Waived",
        columns=(
            Column(head="severity", share=1),
            Column(head="rule", share=2),
            Column(head="what", share=3.5),
            Column(head="accepted by", share=1.5),
            Column(head="until", share=1),
        ),
        rows=tuple(
            Row(
                cells=(str(w.finding.severity), w.finding.rule, w.finding.what, w.by, day(w.until)),
                attention=w.until < report.made_at.date(),
                below=(("reason", w.reason),),
            )
            for w in report.waived
        ),
        empty="No finding was waived.",
    )


def _unseen(report: Report) -> dict[str, list[str]]:
    reasons: dict[str, list[str]] = {}
    for one in report.not_looked:
        reasons.setdefault(one.why, []).append(one.rule)
    return reasons


def _not_looked(report: Report) -> Table:
    return Table(
        title="Not looked at",
        columns=(Column(head="rule", share=2), Column(head="why not", share=5)),
        rows=tuple(Row(cells=(", ".join(rules), why)) for why, rules in _unseen(report).items()),
        empty="Every rule that applies was looked at.",
    )
