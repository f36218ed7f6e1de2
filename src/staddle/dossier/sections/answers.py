"""The answer sheets: what is the same for all members once, then each member's own."""

from collections.abc import Iterator, Sequence

from staddle.dossier.blocks import Block, Facts, Paragraph, Section
from staddle.dossier.model import AnswerSheet, Report

__all__ = ["answers"]


def answers(report: Report) -> Section:
    """The section."""
    return Section(title="Answer sheets", blocks=tuple(_blocks(report)))


def _blocks(report: Report) -> Iterator[Block]:
    if not report.sheets:
        yield Paragraph(text="No answer sheet was made.")
        return
    yield Paragraph(
        text="Secrets stand in the strongbox only; here they are told by name. What is the same for all members stands once.",
        size="small",
    )
    if report.drifted:
        yield Paragraph(
            text=f"Changed since the rollout pinned its inputs: {', '.join(report.drifted)}. The sheets are made from those of"
            " today; what was carried out is in the journal.",
            attention=True,
        )
    same = _same(report.sheets)
    for title, rows in _sections(same):
        yield Facts(title=f"All members: {title}", rows=rows, fixed=True)
    for sheet in report.sheets:
        own = [
            (section.title, row)
            for section in sheet.sections
            for row in section.rows
            if (section.title, row) not in same
        ]
        for title, rows in _sections(own):
            yield Facts(title=f"{sheet.title}: {title}", rows=rows, fixed=True)


_Line = tuple[str, tuple[str, str]]


def _same(sheets: Sequence[AnswerSheet]) -> list[_Line]:
    """The rows that stand on every sheet alike, in the order of the first; none where there is one sheet only."""
    if len(sheets) < 2:
        return []
    rest = [{(part.title, row) for part in sheet.sections for row in part.rows} for sheet in sheets[1:]]
    first = [(part.title, row) for part in sheets[0].sections for row in part.rows]
    return [line for line in first if all(line in others for others in rest)]


def _sections(lines: Sequence[_Line]) -> Iterator[tuple[str, tuple[tuple[str, str], ...]]]:
    rows: dict[str, list[tuple[str, str]]] = {}
    for title, row in lines:
        rows.setdefault(title, []).append(row)
    yield from ((title, tuple(own)) for title, own in rows.items())
