"""Rules about the licence texts of the package."""

from collections.abc import Iterator

from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule


@rule(
    name="licence-not-accepted",
    severity=Severity.STOP,
    title="The package's licence is not accepted by a named person on a day",
    reason="it must be accepted before deployment, by someone who may do so",
    mend="let that person read it, and write licence_accepted_by and licence_accepted_on",
    source="DSP0243, EulaSection",
    needs=(Need.PACKAGE,),
)
def licence_not_accepted(facts: Facts) -> Iterator[Found]:
    texts, choice = facts.get_package().licences, facts.design.package
    if not texts:
        return
    nobody, no_day = not choice.licence_accepted_by.strip(), choice.licence_accepted_on is None
    if nobody or no_day:
        counted = "the licence is" if len(texts) == 1 else f"the {len(texts)} licences are"
        lacking = (
            "not accepted" if nobody and no_day else "accepted by nobody" if nobody else "accepted on no day"
        )
        yield Found(what=f"{counted} {lacking}", where=facts.at("package.licence_accepted_by"))


@rule(
    name="licence-accepted-ahead",
    severity=Severity.RISK,
    title="The licence is accepted on a day that has not come",
    reason="nobody can have accepted it then; the record would be wrong",
    mend="write the day on which it was accepted",
)
def licence_accepted_ahead(facts: Facts) -> Iterator[Found]:
    day = facts.design.package.licence_accepted_on
    if day is not None and day > facts.today:
        yield Found(
            what=f"accepted on {day}, today is {facts.today}", where=facts.at("package.licence_accepted_on")
        )
