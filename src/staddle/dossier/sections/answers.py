"""The answer sheets, one after the other."""

from collections.abc import Iterator

from staddle.dossier.blocks import Block, Facts, Paragraph, Section
from staddle.dossier.model import Report

__all__ = ["answers"]


def answers(report: Report) -> Section:
    """The section."""
    return Section(title="Answer sheets", blocks=tuple(_blocks(report)))


def _blocks(report: Report) -> Iterator[Block]:
    if not report.sheets:
        yield Paragraph(text="No answer sheet was made.")
        return
    yield Paragraph(text="Secrets stand in the strongbox only; here they are told by name.", size="small")
    for sheet in report.sheets:
        for section in sheet.sections:
            if section.rows:
                yield Facts(title=f"{sheet.title}: {section.title}", rows=section.rows, fixed=True)
