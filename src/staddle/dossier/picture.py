"""The picture of a placement as a drawing sheet of its own: frame, drawing, title block."""

from typing import Final

import svg

from staddle.dossier.contents import title_block
from staddle.dossier.ink import PALE, Drawn, box, letter, line, moved, sheet
from staddle.dossier.lettering import shorten
from staddle.dossier.model import Report
from staddle.dossier.placement_drawing import draw_placement, placement_sentence
from staddle.dossier.sections.wording import day
from staddle.kernel import NotAllowed

__all__ = ["picture_svg"]

_EDGE: Final = 12
_BLOCK: Final = 38


def picture_svg(report: Report) -> str:
    """The placement drawing in its frame, as an SVG document. Same report, same bytes.

    Raises: NotAllowed: the report has no placement.
    """
    if report.placement is None:
        raise NotAllowed.one("there is no placement to draw", mend='settle one with "staddle place"')
    elevation = report.placement.elevation
    drawn = draw_placement(elevation)
    across, high = drawn.width + 2 * _EDGE, drawn.height + 2 * _EDGE + _BLOCK
    frame = box(_EDGE, _EDGE, drawn.width, high - 2 * _EDGE, thick=1.6)
    whole = Drawn(
        width=across,
        height=high,
        elements=(
            moved(drawn.elements, _EDGE, _EDGE),
            frame,
            *_title_block(report, _EDGE, high - _EDGE - _BLOCK, drawn.width),
        ),
    )
    return sheet(
        whole,
        title=f"Where the members of {report.job.cluster} stand",
        description=placement_sentence(elevation),
    )


def _title_block(report: Report, x: float, y: float, across: float) -> list[svg.Element]:
    block = title_block(report)
    fields = (
        ("CLUSTER", block.cluster, 0.26),
        ("SHEET TITLE", "Placement", 0.16),
        ("JOB", block.job, 0.2),
        ("SURVEY", day(report.surveyed) if report.surveyed else "no day given", 0.12),
        ("DATE", block.date, 0.12),
        ("REVISION", block.revision, 0.14),
    )
    elements: list[svg.Element] = [line((x, y), (x + across, y), thick=1.6)]
    for name, value, share in fields:
        room = across * share
        if x > _EDGE:
            elements.append(line((x, y), (x, y + _BLOCK), thick=0.8))
        elements.append(letter(name, x + 8, y + 13, 9, colour=PALE))
        elements.append(letter(shorten(value, room - 16, 13), x + 8, y + 29, 13, bold=True))
        x += room
    return elements
