"""The maker's limits on paper: the questions to send to the maker, and a first limits.yaml with every blank."""

import textwrap
from typing import Final

from staddle.design.limitquestions import LIMIT_QUESTIONS, LimitQuestion
from staddle.design.limits import Limits

__all__ = ["limits_form", "limits_starter"]

_WIDTH: Final = 78
_LINE: Final = "." * 40

_STARTER: Final = """\
# What the maker supports, filled from the maker's papers. A blank value is unknown, and the review says so.
# Each value needs its source (paper and page, or who wrote it) and the day the paper is from:
#   - {what: members-most, value: 7, source: "planning guide 4.2, page 12", dated: 2026-03-02}
# Where the maker says that there is none, write: no limit.
# applies_to: all (as without it), data, without data, or size NAME. A question with several answers has several rows.
"""


def limits_form(*, product: str, version: str, known: Limits | None) -> str:
    """The questions as text for the maker, with what is known already filled in so that it can be corrected."""
    title = f"What we must know about {product or 'the appliance'}{f' {version}' if version else ''}"
    lines = [title, "=" * len(title), ""]
    lines += textwrap.wrap(
        "Please answer each question and name the paper in which the answer stands, with its date. "
        "Where there is no limit, please write: no limit.",
        _WIDTH,
    )
    for number, question in enumerate(LIMIT_QUESTIONS, 1):
        lines += ["", *_question(question, number, known)]
    lines += ["", f"answered by {_LINE}", f"on          {_LINE}"]
    return "\n".join(lines) + "\n"


def _question(question: LimitQuestion, number: int, known: Limits | None) -> list[str]:
    head = f"{number:>2}. "
    lines = textwrap.wrap(question.asks, _WIDTH, initial_indent=head, subsequent_indent="    ")
    lines.append(f"    ({question.form})")
    rows = () if known is None else known.of(question.what)
    for row in rows:
        kind = "" if row.applies_to == "all" else f" ({row.applies_to})"
        lines.append(f"    we have: {row.written}{kind}, from {row.paper()}")
    if not rows or question.many:
        lines += [f"    answer:  {_LINE}", f"    paper:   {_LINE}"]
    return lines


def limits_starter() -> str:
    """A limits.yaml in which every question stands with a blank value."""
    lines = [_STARTER]
    for question in LIMIT_QUESTIONS:
        lines += [f"# {question.asks}", f"# {question.form}", f"- what: {question.what}", "  value:", ""]
    return "\n".join(lines)
