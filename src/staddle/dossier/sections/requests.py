"""What other people must do before the window: the requests in short. What to paste stands on the requests sheet."""

from typing import Final

from staddle.dossier.blocks import Column, Paragraph, Row, Section, Table
from staddle.dossier.model import Report

__all__ = ["requests"]

_MOST: Final = 2
"""Probes told of each request; all of them stand on the requests sheet."""


def requests(report: Report) -> Section:
    """The section."""
    record = report.requests
    if record is None:
        text = "No requests sheet could be made: the addresses cannot be planned yet."
        return Section(title="Requests", blocks=(Paragraph(text=text),))
    return Section(
        title="Requests",
        blocks=(
            Paragraph(text=record.counted),
            Paragraph(
                text="What to paste into each request stands in sheets/requests.txt and requests.html of the job folder.",
                size="small",
            ),
            Table(
                title="What other people must do",
                columns=(
                    Column(head="request", share=2),
                    Column(head="whom to ask", share=2),
                    Column(head="working days", share=1),
                    Column(head="standing", share=3),
                    Column(head="asked on, reference", share=2),
                ),
                rows=tuple(
                    Row(
                        cells=(
                            line.title,
                            line.owner,
                            str(line.lead_days),
                            line.standing,
                            "",
                        ),
                        attention=line.is_late,
                        below=(("shown by", _some(line.shown_by)),) if line.shown_by else (),
                    )
                    for line in record.lines
                ),
                empty="Nothing is asked of anybody.",
            ),
        ),
    )


def _some(probes: tuple[str, ...]) -> str:
    rest = len(probes) - _MOST
    return "; ".join(probes[:_MOST]) + (f"; and {rest} more" if rest > 0 else "")
