"""What the maker supports by its papers, and what no paper says."""

from staddle.dossier.blocks import Column, Items, Paragraph, Row, Section, Table
from staddle.dossier.model import Report

__all__ = ["limits"]


def limits(report: Report) -> Section:
    """The section."""
    record = report.limits
    if record is None:
        text = "Nobody has written down what the maker supports: there is no limits.yaml."
        return Section(title="Maker's limits", blocks=(Paragraph(text=text, attention=True),))
    unknown = Items(title="Not known: no paper answers it", items=record.unknown, small=True)
    return Section(
        title="Maker's limits",
        blocks=(
            Table(
                title="By the maker's papers",
                columns=(
                    Column(head="what", share=2),
                    Column(head="value", share=3),
                    Column(head="applies to", share=1.2),
                    Column(head="paper, its date", share=4),
                ),
                rows=tuple(
                    Row(cells=(line.what, line.value, line.applies_to, line.paper)) for line in record.lines
                ),
                empty="No paper was read.",
            ),
            *((unknown,) if record.unknown else (Paragraph(text="Every question has its answer."),)),
        ),
    )
