"""Waivers: a finding accepted by a named person, with a reason and an end date. The rules themselves are review/'s.

waivers.yaml is a list of rows. A waiver past its end accepts nothing and is a finding itself; one that meets no
finding is a note, so that the file does not gather dust.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from pydantic import Field

from staddle.design.model import Row
from staddle.design.places import raise_sorted
from staddle.design.reader import Read, read_rows
from staddle.kernel import Fault, Finding, Severity

__all__ = ["Waived", "Waiver", "WaiverResult", "apply_waivers", "read_waivers"]

_LONGEST: Final = timedelta(days=366)  # a year, whichever it is; common practice, no source


class Waiver(Row):
    """One acceptance."""

    rule: str = Field(pattern=r"^[a-z][a-z0-9-]*$", description="the rule's name, as findings show it")
    where: str = Field(default="", description="the item it is about; empty means the rule everywhere")
    by: str = Field(pattern=r"\S", description="the person who accepts it")
    reason: str = Field(pattern=r"\S", description="why it is acceptable")
    until: date = Field(description="the last day it holds, at most a year ahead")

    def meets(self, finding: Finding) -> bool:
        """Whether the finding is of this rule and names this item, as a whole word, in its place or sentence."""
        if finding.rule != self.rule:
            return False
        # log-1 must not accept log-10: letters, digits and hyphens on either side are part of a name.
        item = rf"(?<![\w-]){re.escape(self.where)}(?![\w-])"
        return (
            self.where in ("", finding.where)
            or re.search(item, finding.where) is not None
            or re.search(item, finding.what) is not None
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Waived:
    """A finding and the waiver that accepts it."""

    finding: Finding
    by: str
    reason: str
    until: date


@dataclass(frozen=True, slots=True, kw_only=True)
class WaiverResult:
    """What is left after waiving. ``kept`` holds the findings that stand, in their order, then those about waivers."""

    kept: tuple[Finding, ...]
    waived: tuple[Waived, ...]


def read_waivers(text: str, *, where: str, today: date) -> Read[tuple[Waiver, ...]]:
    """The rows of waivers.yaml; an empty file has none.

    Raises: InputRefused: every fault of the file; an end more than a year ahead is one.
    """
    read = read_rows(text, Waiver, where=where)
    raise_sorted(
        read.places.fault_at(
            (number, "until"),
            Fault(
                what=f"the waiver of {waiver.rule} holds until {waiver.until}, more than a year ahead",
                why="what was acceptable must be looked at again",
                mend=f"write {today + _LONGEST} or earlier",
            ),
        )
        for number, waiver in enumerate(read.value)
        if waiver.until > today + _LONGEST
    )
    return read


def apply_waivers(
    findings: Iterable[Finding], waivers: Iterable[Waiver], *, today: date, where: str = "waivers.yaml"
) -> WaiverResult:
    """Part the findings into those that stand and those that are accepted today.

    Args: today: the local day; a waiver still holds on its last day. where: the file, for findings about waivers.
    """
    rows = tuple(waivers)
    kept: list[Finding] = []
    waived: list[Waived] = []
    used: set[int] = set()
    for finding in findings:
        meeting = [number for number, waiver in enumerate(rows) if waiver.meets(finding)]
        used.update(meeting)
        valid = next((rows[number] for number in meeting if rows[number].until >= today), None)
        if valid is None:
            kept.append(finding)
        else:
            waived.append(Waived(finding=finding, by=valid.by, reason=valid.reason, until=valid.until))
    about = tuple(
        found
        for number, waiver in enumerate(rows)
        if (found := _about(waiver, number in used, today, where)) is not None
    )
    return WaiverResult(kept=(*kept, *about), waived=tuple(waived))


def _about(waiver: Waiver, used: bool, today: date, where: str) -> Finding | None:
    item = f" for {waiver.where}" if waiver.where else ""
    if waiver.until < today:
        return Finding(
            rule="waiver-past-its-end",
            severity=Severity.RISK,
            what=f"the waiver of {waiver.rule}{item} by {waiver.by} ended on {waiver.until}",
            where=where,
            why="nobody accepts this any more",
            mend="mend what it was about and remove the row, or have it accepted again",
            source="common practice, no source",
        )
    if not used:
        return Finding(
            rule="waiver-without-finding",
            severity=Severity.NOTE,
            what=f"the waiver of {waiver.rule}{item} by {waiver.by} meets no finding",
            where=where,
            why="what it was about is gone, or the rule or item is written differently",
            mend="remove the row, or mend its rule or where",
            source="common practice, no source",
        )
    return None
