"""Rules about a settled placement: what the members share. The design's own wishes are checked in placed.py."""

from collections.abc import Iterator
from typing import Final

from staddle.design.sentences import AnyOf, parse_survive
from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule
from staddle.review.standing import names_text, shared, standings

_NEEDS: Final = (Need.ESTATE, Need.SEATS)
_FEWEST_VOTES: Final = 3  # of one or two votes every domain that holds a voter holds half


def _shared_of_kind(facts: Facts, kind: str) -> Iterator[Found]:
    for (own, name), members in shared(standings(facts)):
        if own == kind:
            yield Found(
                what=f"{names_text(tuple(one.name for one in members))} share {kind} {name}",
                where=f"{kind} {name}",
            )


@rule(
    name="members-share-host",
    severity=Severity.STOP,
    title="Members stand on one host",
    reason="one failed host takes more than one member at a time",
    mend="place them again with apart: [host], and set the rule on the platform too",
    needs=_NEEDS,
)
def members_share_host(facts: Facts) -> Iterator[Found]:
    yield from _shared_of_kind(facts, "host")


@rule(
    name="members-share-rack",
    severity=Severity.RISK,
    title="Members stand in one rack",
    reason="what fails with the rack (its feeds, its switches, water from above) takes more than one member",
    mend="add rack to apart and place them again; name more hosts if there are too few racks",
    needs=_NEEDS,
)
def members_share_rack(facts: Facts) -> Iterator[Found]:
    yield from _shared_of_kind(facts, "rack")


@rule(
    name="members-share-pool",
    severity=Severity.RISK,
    title="Members have disks on one storage pool",
    reason="a pool that fails or fills takes the copies of more than one member",
    mend="add pool to apart and place them again",
    needs=_NEEDS,
)
def members_share_pool(facts: Facts) -> Iterator[Found]:
    yield from _shared_of_kind(facts, "pool")


@rule(
    name="deputy-beside-leader",
    severity=Severity.RISK,
    title="The deputy shares a failure domain with the leader",
    reason="what takes the leader takes the one that should follow it",
    mend="let another member lead second, or place the two again",
    needs=_NEEDS,
)
def deputy_beside_leader(facts: Facts) -> Iterator[Found]:
    pair = [one for one in standings(facts) if one.member.leads != "never"]
    if len(pair) != 2:
        return
    first, second = sorted(pair, key=lambda one: one.member.leads != "first")
    both = [domain for domain in first.domains if domain in second.domains and domain[0] != "site"]
    if both:
        told = names_text(tuple(f"{kind} {name}" for kind, name in both))
        yield Found(
            what=f"the deputy {second.member.name} shares {told} with the leader {first.member.name}",
            where=second.member.name,
        )


@rule(
    name="domain-holds-half",
    severity=Severity.RISK,
    title="One failure domain holds half of the votes or more",
    reason="the rest is no majority: when this domain fails, the cluster stops",
    mend="spread the voting members over three domains of this kind, or put a tie-breaker elsewhere",
    needs=_NEEDS,
)
def domain_holds_half(facts: Facts) -> Iterator[Found]:
    votes = sum(member.votes for member in facts.design.members)
    meant = [parse_survive(text) for text in facts.design.survive]
    asked = {one.kind for one in meant if isinstance(one, AnyOf)}
    for (kind, name), members in shared(standings(facts)):
        voting = sum(member.votes for member in members)
        if votes < _FEWEST_VOTES or 2 * voting < votes:
            continue
        # Several sites are a decision of money and latency: told of, and refused only where they were asked for.
        milder = Severity.NOTE if kind == "site" else None
        yield Found(
            what=f"{kind} {name} holds {voting} of {votes} votes",
            where=f"{kind} {name}",
            severity=Severity.STOP if kind in asked else milder,
        )
