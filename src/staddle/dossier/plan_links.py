"""Links inside a drawing: what a click on it asks; and many cells as one path. For pages; a drawing on paper has none."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

import svg

from staddle.dossier.lettering import written

__all__ = ["PlanLinks", "Ready", "cells", "linked"]


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanLinks:
    """Addresses: of the plan with that part failed (or standing again), with a rack opened or closed, with a member taken."""

    fail: Callable[[str], str]
    open: Callable[[str], str]
    take: Callable[[str], str]


class Ready(svg.Element):
    """Shapes that are text already."""

    element_name: ClassVar[str] = "g"

    def as_str(self) -> str:
        """The text as it was given: by our own drawing, which has made names safe."""
        return self.text or ""


def linked(
    href: str,
    says: str,
    elements: Sequence[svg.Element],
    *,
    ident: str = "",
    data: tuple[str, str] | None = None,
) -> svg.Element:
    """Shapes that are one link, with the sentence that a screen reader says and a pointer shows.

    Args: ident: an id of its own in the page; data: (name, value) for the pages' module.
    """
    extra = {"aria-label": written(says)}
    if ident:
        extra["id"] = written(ident)
    if data is not None:
        extra[f"data-{data[0]}"] = written(data[1])
    return svg.A(href=written(href), elements=[svg.Title(text=written(says)), *elements], extra=extra)


def cells(commands: str, *, fill: str, stroke: str) -> svg.Element:
    """Thousands of cells as one path, its commands ready as text: made one by one they would take a second."""
    filled = f"url(#hatch-{fill})" if fill in ("bad", "coming") else fill
    return svg.Path(fill=filled, stroke=stroke, stroke_width=0.6, extra={"d": commands})
