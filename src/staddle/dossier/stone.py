"""The sign for a member: a staddle stone, a tapered stem with a cap. What fills it says what the member does."""

from typing import Final

import svg

from staddle.dossier.elevation import StoneElevation
from staddle.dossier.ink import ACCENT, PAPER, outline

__all__ = ["STONE_HEIGHT", "STONE_WIDTH", "role_of", "stone"]

STONE_WIDTH: Final = 24
STONE_HEIGHT: Final = 26


def role_of(member: StoneElevation) -> str:
    """What the member does, in one or two words."""
    if member.leads == "first":
        return "leader"
    if member.leads == "second":
        return "deputy"
    if not member.data:
        return "no data"
    return "member" if member.votes else "no vote"


def stone(role: str, x: float, foot: float) -> list[svg.Element]:
    """A stone that stands on ``foot``, its left edge at ``x``. Any word but those of ``role_of`` is drawn plain."""
    fill = {"leader": ACCENT, "deputy": "ours"}.get(role, PAPER)
    dash = "2 2" if role in ("no data", "no vote") else ""
    middle, brim = x + STONE_WIDTH / 2, foot - STONE_HEIGHT + 10

    def shape(inside: str, dashes: str) -> list[svg.Element]:
        stem = outline(
            svg.M(middle - 8.5, foot),
            svg.L(middle - 4.5, brim),
            svg.L(middle + 4.5, brim),
            svg.L(middle + 8.5, foot),
            svg.Z(),
            fill=inside,
            stroke=ACCENT,
            thick=1.3,
            dash=dashes,
        )
        cap = outline(
            svg.M(x, brim),
            svg.C(x + 1, brim - 7, middle - 6, brim - 10, middle, brim - 10),
            svg.C(middle + 6, brim - 10, x + STONE_WIDTH - 1, brim - 7, x + STONE_WIDTH, brim),
            svg.Q(middle, brim + 3, x, brim),
            svg.Z(),
            fill=inside,
            stroke=ACCENT,
            thick=1.3,
            dash=dashes,
        )
        return [stem, cap]

    # A hatching lets what lies under it show through: the paper comes first.
    return [*(shape(PAPER, "") if fill == "ours" else []), *shape(fill, dash)]
