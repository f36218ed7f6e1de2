"""A drawing as a sheet of its own: frame, drawing, title block; and the picture of a placement in it."""

from collections.abc import Sequence
from typing import Final

import svg

from staddle.dossier.contents import title_block
from staddle.dossier.ink import PALE, Drawn, box, letter, line, moved, sheet
from staddle.dossier.lettering import shorten
from staddle.dossier.model import Report
from staddle.dossier.placement_drawing import draw_placement, placement_sentence
from staddle.dossier.sections.wording import day
from staddle.kernel import NotAllowed

__all__ = ["framed", "picture_svg"]

_EDGE: Final = 12
_BLOCK: Final = 38


def picture_svg(report: Report) -> str:
    """The placement drawing in its frame, as an SVG document. Same report, same bytes.

    Raises: NotAllowed: the report has no placement.
    """
    if report.placement is None:
        raise NotAllowed.one("there is no placement to draw", mend='settle one with "staddle place"')
    elevation = report.placement.elevation
    block = title_block(report)
    fields = (
        ("CLUSTER", block.cluster, 0.26),
        ("SHEET TITLE", "Placement", 0.16),
        ("JOB", block.job, 0.2),
        ("SURVEY", day(report.surveyed) if report.surveyed else "no day given", 0.12),
        ("DATE", block.date, 0.12),
        ("REVISION", block.revision, 0.14),
    )
    return sheet(
        framed(draw_placement(elevation), fields),
        title=f"Where the members of {report.job.cluster} stand",
        description=placement_sentence(elevation),
    )


def framed(drawn: Drawn, fields: Sequence[tuple[str, str, float]]) -> Drawn:
    """A drawing in its frame with a title block. Args: fields: (name, value, share of the width), shares adding to 1."""
    across, high = drawn.width + 2 * _EDGE, drawn.height + 2 * _EDGE + _BLOCK
    frame = box(_EDGE, _EDGE, drawn.width, high - 2 * _EDGE, thick=1.6)
    return Drawn(
        width=across,
        height=high,
        elements=(
            moved(drawn.elements, _EDGE, _EDGE),
            frame,
            *_title_block(fields, _EDGE, high - _EDGE - _BLOCK, drawn.width),
        ),
    )


def _title_block(
    fields: Sequence[tuple[str, str, float]], x: float, y: float, across: float
) -> list[svg.Element]:
    elements: list[svg.Element] = [line((x, y), (x + across, y), thick=1.6)]
    for name, value, share in fields:
        room = across * share
        if x > _EDGE:
            elements.append(line((x, y), (x, y + _BLOCK), thick=0.8))
        elements.append(letter(name, x + 8, y + 13, 9, colour=PALE))
        elements.append(letter(shorten(value, room - 16, 13), x + 8, y + 29, 13, bold=True))
        x += room
    return elements
