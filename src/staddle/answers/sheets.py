"""The answer sheet of one member: everything about it that a person would type, for paper and screen.

A sheet is data; text, CSV and HTML are made from it. A secret never stands on a sheet, only the name under which
the strongbox holds it.
"""

import csv
import io
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from staddle.answers.cells import inert
from staddle.answers.model import AnswerRow
from staddle.answers.pages import page
from staddle.kernel.cautions import CAUTIONS

__all__ = [
    "Sheet",
    "SheetRow",
    "SheetSection",
    "answer_sections",
    "row_titles",
    "sheet_csv",
    "sheet_html",
    "sheet_text",
]

_WIDTH: Final = 96


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One line: what is asked, the value to type, and where it comes from ("" where it needs no reason)."""

    label: str
    value: str
    key: str = ""
    reason: str = ""
    is_secret: bool = False
    is_open: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetSection:
    """Rows under a heading, in the order in which a person meets them."""

    title: str
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One member's sheet. ``survey`` tells how old what it stands on is; ``number`` of ``count`` stands in the title block; an empty ``revision`` is for the pen."""

    job: str
    cluster: str
    change: str
    member: str
    drawn: str
    made_on: date
    number: int
    count: int
    sections: tuple[SheetSection, ...]
    survey: str = ""
    revision: str = ""


def answer_sections(rows: Sequence[AnswerRow]) -> tuple[SheetSection, ...]:
    """The answers by the package's categories, in its order. Returns: () for no questions."""
    sections: list[SheetSection] = []
    titles = row_titles(rows)
    for row, label in zip(rows, titles, strict=True):
        title = row.category or "Questions"
        line = SheetRow(
            label=label,
            value=_shown(row),
            key=row.key,
            reason=row.reason,
            is_secret=bool(row.secret),
            is_open=row.is_open,
        )
        if sections and sections[-1].title == title:
            sections[-1] = SheetSection(title=title, rows=(*sections[-1].rows, line))
        else:
            sections.append(SheetSection(title=title, rows=(line,)))
    return tuple(sections)


def row_titles(rows: Sequence[AnswerRow]) -> tuple[str, ...]:
    """What each question is called: its label; with its key where another question has the same label."""
    many = Counter(row.label or row.key for row in rows)
    return tuple(
        f"{row.label} [{row.key}]" if row.label and many[row.label] > 1 else row.label or row.key
        for row in rows
    )


def _shown(row: AnswerRow) -> str:
    if row.is_open:
        return "OPEN: nothing answers this yet"
    if row.secret:
        return f"secret: in the strongbox as {row.secret}; the run card shows it when it is to be typed"
    return row.value if row.value else "(leave empty)"


def sheet_text(sheet: Sheet) -> str:
    """The sheet as plain text, at most 96 columns where the values allow it."""
    lines = [
        "=" * _WIDTH,
        f"ANSWER SHEET {sheet.number} of {sheet.count}   {sheet.member}",
        f"cluster {sheet.cluster}   job {sheet.job}   change {sheet.change or 'none given'}   drawn {sheet.drawn}, {sheet.made_on}",
        *([f"estate {sheet.survey}"] if sheet.survey else []),
        "=" * _WIDTH,
    ]
    width = max((len(row.label) for section in sheet.sections for row in section.rows), default=0)
    for section in sheet.sections:
        lines += ["", section.title]
        for row in section.rows:
            lines.append(f"  [ ] {row.label:<{width}}  {row.value}")
            if row.reason:
                lines.append(f"      {'':<{width}}  ({row.reason})")
    lines += ["", "typed by ____________________   checked by ____________________   date ____________", ""]
    lines += [f"* {caution}" for caution in CAUTIONS]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def sheet_csv(sheet: Sheet) -> str:
    """The sheet as CSV (RFC 4180), one row a line, with its section and where it comes from."""
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\r\n")  # RFC 4180 §2.1
    writer.writerow(("member", "section", "label", "key", "value", "from"))
    for section in sheet.sections:
        for row in section.rows:
            cells = (sheet.member, section.title, row.label, row.key, row.value, row.reason)
            writer.writerow(inert(cell) for cell in cells)
    return sink.getvalue()


def sheet_html(sheets: Sequence[Sheet]) -> str:
    """All sheets as one page that fetches nothing; every text is escaped; prints one sheet a page."""
    return page("sheets.html.j2", sheets=sheets, cautions=CAUTIONS)
