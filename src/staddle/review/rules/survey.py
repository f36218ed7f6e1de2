"""Rules about the estate's survey, and what reading the estate found."""

from collections.abc import Iterator

from staddle.estate.survey import SurveyStanding, survey_age
from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule


@rule(
    name="estate-reading",
    severity=Severity.RISK,
    title="What reading the estate found",
    reason="hosts or pools beyond their limits, columns that nobody knows; once the members are placed, only what "
    "concerns the hosts and pools that they stand on; its findings keep their own names",
    mend="see what the finding says",
    needs=(Need.ESTATE,),
)
def estate_reading(facts: Facts) -> Iterator[Finding]:
    elsewhere = _elsewhere(facts)
    yield from (found for found in facts.estate_findings if found.where not in elsewhere)


def _elsewhere(facts: Facts) -> set[str]:
    """Hosts and pools that no member stands on, and the guests on such hosts. None is known before a placement."""
    if facts.seats is None:
        return set()
    estate = facts.get_estate()
    used = {seat.host for seat in facts.seats} | {pool for seat in facts.seats for _, pool in seat.disks}
    rows = {host.name for host in estate.hosts} | {pool.name for pool in estate.pools}
    return rows - used | {guest.name for guest in estate.guests if guest.host not in used}


@rule(
    name="survey-old",
    severity=Severity.STOP,
    title="The estate's survey is older than its limit",
    reason="guests have come and grown since then; the room that is counted on may be gone",
    mend="survey the estate again; the limit stands as survey_limit in design.yaml (job), else as age_limit in survey.yaml",
    needs=(Need.ESTATE,),
)
def survey_old(facts: Facts) -> Iterator[Found]:
    estate = facts.get_estate()
    standing = SurveyStanding(
        surveyed=estate.surveyed,
        surveyed_by=estate.surveyed_by,
        age_days=survey_age(estate.surveyed, facts.today).days,
        limit_days=facts.survey_age_limit_days,
    )
    if standing.is_past:
        yield Found(what=standing.complaint(estate.name), where="survey.yaml")


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
