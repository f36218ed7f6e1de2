"""The requests sheet as text, as CSV (RFC 4180) and as a page. The calendar is duedates.py's."""

import csv
import io
import textwrap
from typing import Final

from staddle.answers.cells import inert
from staddle.answers.pages import page
from staddle.answers.requests import Request, RequestsSheet
from staddle.kernel.cautions import CAUTIONS

__all__ = ["counted_from", "requests_csv", "requests_html", "requests_text", "standing"]

_WIDTH: Final = 96


def requests_text(sheet: RequestsSheet) -> str:
    """The sheet as plain text, at most 96 columns where the values allow it: the list, then what to paste."""
    lines = [
        "=" * _WIDTH,
        f"REQUESTS SHEET   {sheet.cluster}",
        f"job {sheet.job}   change {sheet.change or 'none given'}   drawn {sheet.drawn}, {sheet.due.today}",
        *([f"estate {sheet.survey}"] if sheet.survey else []),
        *textwrap.wrap(counted_from(sheet), _WIDTH),
        "=" * _WIDTH,
        "",
    ]
    titles = max((len(one.title) for one in sheet.requests), default=0)
    owners = max((len(one.owner) for one in sheet.requests), default=0)
    for one in sheet.requests:
        lines.append(
            f"  [ ] {one.title:<{titles}}  {one.owner:<{owners}}  {one.lead_days:>3} d  {standing(one)}"
        )
    for number, one in enumerate(sheet.requests, 1):
        lines += [
            "",
            "-" * _WIDTH,
            f"{number}. {one.title}   [{one.kind}]",
            f"   ask {one.owner}   lead time {one.lead_days} working days   {standing(one)}",
            "",
            *one.text.splitlines(),
            "",
            "   shown by",
        ]
        for probe in one.probes:
            lines += textwrap.wrap(
                probe.text(),
                _WIDTH,
                initial_indent="   - ",
                subsequent_indent="     ",
                break_on_hyphens=False,
            )
        lines.append("   asked on ____________   reference ____________________   done on ____________")
    lines += ["", "-" * _WIDTH]
    for caution in CAUTIONS:
        lines += textwrap.wrap(caution, _WIDTH, initial_indent="* ", subsequent_indent="  ")
    return "\n".join(line.rstrip() for line in lines) + "\n"


def counted_from(sheet: RequestsSheet) -> str:
    """From where the due dates are counted, as a sentence."""
    due = sheet.due
    if due.opens_on is None:
        return f"No due dates: {due.why}."
    off = [day for day in sorted(due.holidays) if due.today <= day <= due.opens_on]
    less = f" less {', '.join(map(str, off))}" if off else ""
    return (
        f"Due dates are the last day to ask, counted back in working days (Monday to Friday{less}) from the window"
        f" that opens {due.opens}."
    )


def standing(one: Request) -> str:
    """Its due date and whether it is late or signed, in a few words."""
    day = "no date" if one.due_on is None else f"ask by {one.due_on:%a} {one.due_on}"
    if one.signed_by:
        return f"{day}; signed by {one.signed_by}, {one.signed_on}"
    return f"{day}   LATE" if one.is_late else day


def requests_csv(sheet: RequestsSheet) -> str:
    """The sheet as CSV, a line a request; what to paste stands in one cell, with its line breaks."""
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\r\n")  # RFC 4180 §2.1
    writer.writerow(
        (
            "request",
            "title",
            "owner",
            "lead_days",
            "due_on",
            "late",
            "signed_by",
            "signed_on",
            "text",
            "shown_by",
        )
    )
    for one in sheet.requests:
        cells = (
            one.kind,
            one.title,
            one.owner,
            str(one.lead_days),
            "" if one.due_on is None else one.due_on.isoformat(),
            "late" if one.is_late else "",
            one.signed_by,
            "" if one.signed_on is None else one.signed_on.isoformat(),
            one.text,
            "\n".join(probe.text() for probe in one.probes),
        )
        writer.writerow(inert(cell) for cell in cells)
    return sink.getvalue()


def requests_html(sheet: RequestsSheet) -> str:
    """The sheet as one page that fetches nothing; every text is escaped; the list first, then what to paste."""
    return page(
        "requests.html.j2", sheet=sheet, counted=counted_from(sheet), standing=standing, cautions=CAUTIONS
    )
