"""Whether the estate has enough to keep the members apart at all, counted before any placement is searched for."""

from collections.abc import Iterator, Mapping

from staddle.design.model import Member
from staddle.estate.model import Host
from staddle.failures.domains import domains_above, pool_domains_above
from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule
from staddle.review.standing import names_text

Takers = Mapping[str, frozenset[str]]


@rule(
    name="too-few-to-keep-apart",
    severity=Severity.STOP,
    title="There are fewer hosts, pools or domains than members that must be kept apart by them",
    reason="no two members may share one, so no placement exists, however much room there is",
    mend="name more of them in the estate's tables, ask for fewer members, take the kind out of apart, or loosen site and pin",
    needs=(Need.ESTATE,),
)
def too_few_to_keep_apart(facts: Facts) -> Iterator[Found]:
    hosts = {member.name: _hosts(facts, member) for member in facts.design.members}
    if not all(hosts.values()):
        return  # a site, pin or keep-out that leaves nothing is told by other rules
    for number, kind in enumerate(facts.design.apart):
        takers = _takers(facts, kind, hosts)
        members = crowded(takers)
        if not members:
            continue
        names = sorted(frozenset().union(*(takers[member] for member in members)))
        noun = f"1 {kind}" if len(names) == 1 else f"{len(names) or 'no'} {kind}s"
        yield Found(
            what=f"{len(members)} members must be apart by {kind} ({names_text(members)}), and {noun} can take them"
            + (f": {', '.join(names)}" if names else ""),
            where=facts.at(f"apart[{number}]"),
        )


def _hosts(facts: Facts, member: Member) -> tuple[Host, ...]:
    """The hosts on which the design lets the member stand."""
    estate = facts.get_estate()
    above = domains_above(estate)
    out = set(member.keep_out)

    def may(host: Host) -> bool:
        names = {name for _, name in above[host.name]} | {host.name}
        return (
            (not member.host or host.name == member.host)
            and (not member.site or ("site", member.site) in above[host.name])
            and not names & out
        )

    return tuple(host for host in estate.hosts if may(host))


def _takers(facts: Facts, kind: str, hosts: Mapping[str, tuple[Host, ...]]) -> Takers:
    """Per member the names of that kind that could take it; a member that may also stand outside of all is left out."""
    estate = facts.get_estate()
    if kind == "host":
        return {member: frozenset(host.name for host in own) for member, own in hosts.items()}
    if kind == "pool":
        return {member.name: _pools(facts, member, hosts[member.name]) for member in facts.design.members}
    above = domains_above(estate)
    inside = {
        host.name: frozenset(name for own, name in above[host.name] if own == kind) for host in estate.hosts
    }
    return {
        member: frozenset().union(*(inside[host.name] for host in own))
        for member, own in hosts.items()
        if all(inside[host.name] for host in own)
    }


def _pools(facts: Facts, member: Member, hosts: tuple[Host, ...]) -> frozenset[str]:
    above = pool_domains_above(facts.get_estate())
    wanted = facts.design.storage.pools
    reached = {pool for host in hosts for pool in host.pools if pool in above}
    return frozenset(
        pool
        for pool in reached
        if (not wanted or pool in wanted)
        and not ({name for _, name in above[pool]} | {pool}) & set(member.keep_out)
    )


def crowded(takers: Takers) -> tuple[str, ...]:
    """Members that have fewer takers together than they are, in the order given; () where each can have one of its own.

    Source: P. Hall's theorem (1935) by augmenting paths: what an unmatched member reaches is such a set.
    """
    holder: dict[str, str] = {}

    def reach(member: str, seen: dict[str, None]) -> bool:
        for taker in sorted(takers[member]):
            if taker in seen:
                continue
            seen[taker] = None
            if taker not in holder or reach(holder[taker], seen):
                holder[taker] = member
                return True
        return False

    for member in takers:
        seen: dict[str, None] = {}
        if not reach(member, seen):
            stuck = {member, *(holder[taker] for taker in seen)}
            return tuple(one for one in takers if one in stuck)
    return ()
