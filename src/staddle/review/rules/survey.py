"""Rules about the estate's survey, and what reading the estate found."""

from collections.abc import Iterator

from staddle.estate.survey import survey_age
from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule


@rule(
    name="estate-reading",
    severity=Severity.RISK,
    title="What reading the estate found",
    reason="hosts or pools beyond their limits, columns that nobody knows; its findings keep their own names",
    mend="see what the finding says",
    needs=(Need.ESTATE,),
)
def estate_reading(facts: Facts) -> Iterator[Finding]:
    yield from facts.estate_findings


@rule(
    name="survey-old",
    severity=Severity.RISK,
    title="The estate was surveyed long ago",
    reason="guests have come and grown since then; the room that is counted on may be gone",
    mend="survey the estate again",
    needs=(Need.ESTATE,),
)
def survey_old(facts: Facts) -> Iterator[Found]:
    estate = facts.get_estate()
    age = survey_age(estate.surveyed, facts.today)
    if age.days > facts.survey_age_limit_days:
        yield Found(
            what=f"the survey of {estate.name} is {age.text} ({estate.surveyed}), the limit is "
            f"{facts.survey_age_limit_days} days",
            where="survey.yaml",
        )


@rule(
    name="survey-ahead",
    severity=Severity.STOP,
    title="The estate's survey is dated ahead",
    reason="nobody can have looked then: the date or this machine's clock is wrong, and ages mean nothing",
    mend="mend the date in survey.yaml, or the clock",
    needs=(Need.ESTATE,),
)
def survey_ahead(facts: Facts) -> Iterator[Found]:
    estate = facts.get_estate()
    age = survey_age(estate.surveyed, facts.today)
    if age.days < 0:
        yield Found(
            what=f"the survey of {estate.name} is {age.text} ({estate.surveyed})", where="survey.yaml"
        )
