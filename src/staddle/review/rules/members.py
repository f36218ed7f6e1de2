"""Rules about the members: votes, the leader, its deputy."""

from collections.abc import Iterator

from staddle.kernel import Severity
from staddle.review.facts import Facts
from staddle.review.rule import Found, rule


def _votes(facts: Facts) -> int:
    return sum(member.votes for member in facts.design.members)


@rule(
    name="even-votes",
    severity=Severity.RISK,
    title="The number of votes is even",
    reason="an even number outlives no more failures than one vote less, and can fall into two equal halves",
    mend="add a member that votes and holds no data, or write votes: false for one",
)
def even_votes(facts: Facts) -> Iterator[Found]:
    votes = _votes(facts)
    if votes and votes % 2 == 0:
        yield Found(what=f"{votes} members vote", where=facts.at("members"))


@rule(
    name="no-vote-to-lose",
    severity=Severity.RISK,
    title="No member can be lost without losing the majority",
    reason="after the loss of one of them the rest is no majority, and the cluster stops",
    mend="let three members vote; the third may be one that holds no data",
)
def no_vote_to_lose(facts: Facts) -> Iterator[Found]:
    votes = _votes(facts)
    if votes < 3:
        verb = "member votes" if votes == 1 else "members vote"
        yield Found(what=f"only {votes} {verb}", where=facts.at("members"))


@rule(
    name="single-copy",
    severity=Severity.RISK,
    title="Only one member holds data",
    reason="there is no second copy: what is lost with this member is lost",
    mend="let three members hold data; two where another one votes without data",
)
def single_copy(facts: Facts) -> Iterator[Found]:
    holding = [member.name for member in facts.design.members if member.data]
    if len(holding) < 2:
        what = f"only {holding[0]} holds data" if holding else "no member holds data"
        yield Found(what=what, where=facts.at("members"))


@rule(
    name="two-copies",
    severity=Severity.NOTE,
    title="Only two members hold data",
    reason="while one of them is lost or maintained there is a single copy, and nothing to compare it with",
    mend="let three members hold data where the data must outlive a failure within a repair",
)
def two_copies(facts: Facts) -> Iterator[Found]:
    holding = [member.name for member in facts.design.members if member.data]
    if len(holding) == 2:
        what = f"only {holding[0]} and {holding[1]} hold data"
        yield Found(what=what, where=facts.at("members"))


@rule(
    name="many-votes",
    severity=Severity.NOTE,
    title="Seven members or more vote",
    reason="each decision waits for more members, and the gain over five votes rarely pays",
    mend="let five members vote and write votes: false for the others, if the appliance can do that",
)
def many_votes(facts: Facts) -> Iterator[Found]:
    votes = _votes(facts)
    if votes >= 7:
        yield Found(what=f"{votes} members vote", where=facts.at("members"))


@rule(
    name="no-deputy",
    severity=Severity.RISK,
    title="No deputy is named",
    reason="nobody has decided who leads after the first leader is lost, or whether that one stands well apart",
    mend="write leads: second for one member that holds data",
)
def no_deputy(facts: Facts) -> Iterator[Found]:
    members = facts.design.members
    if len(members) > 1 and not any(member.leads == "second" for member in members):
        yield Found(what=f"none of the {len(members)} members leads second", where=facts.at("members"))


@rule(
    name="leader-without-data",
    severity=Severity.RISK,
    title="The leader or its deputy holds no data, or has no vote",
    reason="who leads without the data or without a vote cannot serve or decide when it counts",
    mend="let a member lead that holds data and votes",
)
def leader_without_data(facts: Facts) -> Iterator[Found]:
    for number, member in enumerate(facts.design.members):
        if member.leads == "never" or (member.data and member.votes):
            continue
        lacks = " and ".join(
            text for text, has in (("holds no data", member.data), ("has no vote", member.votes)) if not has
        )
        yield Found(
            what=f"{member.name} leads {member.leads} and {lacks}", where=facts.at(f"members[{number}].leads")
        )
