"""How old an estate's survey is and may be, and the finding where it is too old. What is refused then is in survey.py."""

from datetime import datetime

from staddle.estate.survey import SurveyStanding, survey_age
from staddle.estate.tables import EstateReading
from staddle.kernel import Finding

__all__ = ["old_survey", "survey_of"]


def survey_of(reading: EstateReading, now: datetime, *, limit_days: int | None = None) -> SurveyStanding:
    """How old the survey is and how old it may be. Args: limit_days: a job's own limit, None for the estate's."""
    estate = reading.estate
    return SurveyStanding(
        surveyed=estate.surveyed,
        surveyed_by=estate.surveyed_by,
        age_days=survey_age(estate.surveyed, now.date()).days,
        limit_days=limit_days or reading.age_limit_days,
    )


def old_survey(estate: str, survey: SurveyStanding) -> tuple[Finding, ...]:
    """The finding of the rule on old surveys where this one is past its limit; else ()."""
    if not survey.is_past:
        return ()
    from staddle.review.rules.survey import (
        survey_old,  # with all that rules look at; nothing else here needs that
    )

    return (
        Finding(
            rule=survey_old.name,
            severity=survey_old.severity,
            what=survey.complaint(estate),
            where="survey.yaml",
            why=survey_old.reason,
            mend=survey_old.mend,
            source=survey_old.source,
        ),
    )
