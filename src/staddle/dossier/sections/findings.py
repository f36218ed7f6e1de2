"""Findings that stand, findings that were waived, and what was not looked at."""

from staddle.dossier.blocks import Column, Row, Section, Table
from staddle.dossier.model import Report
from staddle.dossier.sections.wording import day
from staddle.kernel import Finding, worst_first

__all__ = ["findings"]


def findings(report: Report) -> Section:
    """The section."""
    return Section(title="Findings and waivers", blocks=(_kept(report), _waived(report), _not_looked(report)))


def _lines(finding: Finding) -> tuple[tuple[str, str], ...]:
    lines = (
        ("where", finding.where),
        ("why", finding.why),
        ("mend", finding.mend),
        ("source", finding.source),
    )
    return tuple((label, text) for label, text in lines if text)


def _kept(report: Report) -> Table:
    return Table(
        title="Findings that stand",
        columns=(
            Column(head="severity", share=1),
            Column(head="rule", share=2),
            Column(head="what", share=5),
        ),
        rows=tuple(
            Row(
                cells=(str(f.severity), f.rule, f.what),
                attention=f.severity.rank < 2,
                below=_lines(f),
            )
            for f in worst_first(report.kept)
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
                below=(("reason", w.reason), *_lines(w.finding)),
            )
            for w in report.waived
        ),
        empty="No finding was waived.",
    )


def _not_looked(report: Report) -> Table:
    return Table(
        title="Not looked at",
        columns=(Column(head="rule", share=2), Column(head="why not", share=5)),
        rows=tuple(Row(cells=(n.rule, n.why)) for n in report.not_looked),
        empty="Every rule that applies was looked at.",
    )
