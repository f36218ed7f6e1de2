"""Rules of survey.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import ESTATE, facts_of

__all__ = ["FIRES", "QUIET"]

OF_ANOTHER_ROOM: Final = Finding(
    rule="of-another-room", severity=Severity.NOTE, what="something", where="a.ovf"
)

OF_ROWS: Final = {
    name: Finding(rule="of-another-room", severity=Severity.RISK, what="something", where=name)
    for name in ("om-h1", "om-h2", "om-store-1", "om-store-2", "archive", "mapping")
}

# The guest mapping runs on om-h2, where no member stands.
WITH_MAPPING: Final = replace(
    ESTATE, guests=(*ESTATE.guests, replace(ESTATE.guests[0], name="mapping", host="om-h2"))
)

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "estate-reading": [
        (lambda: facts_of(estate_findings=(OF_ANOTHER_ROOM,)), (OF_ANOTHER_ROOM,)),
        # Only of what members stand on or beside: om-h1, om-store-1 and the guest archive on om-h1.
        (
            lambda: facts_of(estate=WITH_MAPPING, estate_findings=tuple(OF_ROWS.values())),
            (OF_ROWS["om-h1"], OF_ROWS["om-store-1"], OF_ROWS["archive"]),
        ),
        # Nothing is left out while nobody knows where the members will stand.
        (
            lambda: replace(facts_of(estate_findings=tuple(OF_ROWS.values())), seats=None),
            tuple(OF_ROWS.values()),
        ),
    ],
    "survey-old": [
        (
            lambda: facts_of(estate=replace(ESTATE, surveyed=date(2026, 10, 25))),
            (
                Finding(
                    rule="survey-old",
                    severity=Severity.STOP,
                    what="the survey of Ousemoor Drainage Commission is 31 days old (2026-10-25), the limit is 30 days",
                    where="survey.yaml",
                    why="guests have come and grown since then; the room that is counted on may be gone",
                    mend="survey the estate again; the limit stands as survey_limit in design.yaml (job), else as "
                    "age_limit in survey.yaml",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(survey_age_limit_days=4),
            (
                Finding(
                    rule="survey-old",
                    severity=Severity.STOP,
                    what="the survey of Ousemoor Drainage Commission is 5 days old (2026-11-20), the limit is 4 days",
                    where="survey.yaml",
                    why="guests have come and grown since then; the room that is counted on may be gone",
                    mend="survey the estate again; the limit stands as survey_limit in design.yaml (job), else as "
                    "age_limit in survey.yaml",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "survey-ahead": [
        (
            lambda: facts_of(estate=replace(ESTATE, surveyed=date(2026, 11, 26))),
            (
                Finding(
                    rule="survey-ahead",
                    severity=Severity.STOP,
                    what="the survey of Ousemoor Drainage Commission is dated 1 day ahead (2026-11-26)",
                    where="survey.yaml",
                    why="nobody can have looked then: the date or this machine's clock is wrong, and ages mean nothing",
                    mend="mend the date in survey.yaml, or the clock",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "estate-reading": [
        lambda: facts_of(),
    ],
    "survey-old": [
        lambda: facts_of(estate=replace(ESTATE, surveyed=date(2026, 10, 26))),
    ],
    "survey-ahead": [
        lambda: facts_of(estate=replace(ESTATE, surveyed=date(2026, 11, 25))),
    ],
}
