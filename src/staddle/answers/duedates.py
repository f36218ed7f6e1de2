"""The due dates of a requests sheet as a calendar that calendar programs read (RFC 5545)."""

import uuid
from datetime import UTC, date
from typing import Final

from staddle.answers.requests import Request, RequestsSheet
from staddle.kernel.cautions import CAUTIONS

__all__ = ["due_dates_ics"]

_FOLD_OCTETS: Final = 75  # RFC 5545 §3.1, without the line break


def due_dates_ics(sheet: RequestsSheet) -> str:
    """One all-day entry a dated request. The identifier of a request stays when its date moves.

    Returns: "" where no request has a date: a calendar needs an entry at least (RFC 5545 §3.6).
    Source: RFC 5545 §3.1 folding and CRLF, §3.3.4 DATE, §3.3.5 UTC instants, §3.3.11 TEXT, §3.6.1 VEVENT.
    """
    rows = [(one, one.due_on) for one in sheet.requests if one.due_on is not None]
    if not rows:
        return ""
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Staddle//requests sheet//EN", "CALSCALE:GREGORIAN"]
    for one, day in rows:
        lines += _entry(sheet, one, day)
    lines.append("END:VCALENDAR")
    return "".join(f"{_folded(line)}\r\n" for line in lines)


def _entry(sheet: RequestsSheet, one: Request, day: date) -> list[str]:
    told = [
        f"Ask: {one.owner}",
        f"Lead time: {one.lead_days} working days before the window of {sheet.due.opens}",
        *([f"Signed as done by {one.signed_by} on {one.signed_on}"] if one.signed_by else []),
        "",
        one.text,
        "",
        *(f"Shown by: {probe.text()}" for probe in one.probes),
        "",
        *CAUTIONS,
    ]
    # RFC 7986 §5.3 wants identifiers that tell nothing of a machine: one made from the job's names alone stays the same.
    name = f"{one.kind}.requests.{sheet.job}.{sheet.zone}"
    return [
        "BEGIN:VEVENT",
        f"UID:{uuid.uuid5(uuid.NAMESPACE_DNS, name)}",
        f"DTSTAMP:{sheet.made_at.astimezone(UTC):%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",  # without an end it is that one day (§3.6.1)
        f"SUMMARY:{_text(f'Last day to ask: {one.title} ({sheet.cluster})')}",
        f"DESCRIPTION:{_text(chr(10).join(told))}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _text(text: str) -> str:
    # §3.3.11: backslash, semicolon, comma and line break are escaped; other control characters have no place in a TEXT.
    kept = "".join(c if c in "\n\t" or (c >= " " and c != "\x7f") else " " for c in text)
    return kept.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,").replace("\n", "\\n")


def _folded(line: str) -> str:
    """The line broken so that none has more than 75 octets, never inside a character."""
    parts: list[str] = []
    part, octets = "", 0
    for character in line:
        width = len(character.encode())
        if octets + width > _FOLD_OCTETS:
            parts.append(part)
            part, octets = " ", 1
        part, octets = part + character, octets + width
    return "\r\n".join((*parts, part))
