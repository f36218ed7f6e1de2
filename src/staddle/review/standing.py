"""What stands where: the settled seats joined with design and estate, and what each domain then holds.

A seat of an unknown member, host or pool is passed over: the rule that checks the settled placement tells of it.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from staddle.design.model import Member
from staddle.estate.model import Host, Pool
from staddle.failures.domains import domains_above, pool_domains_above
from staddle.placement.model import MemberNeed
from staddle.review.facts import Facts

__all__ = ["Standing", "names_text", "needs_on", "shared", "standings"]

Domain = tuple[str, str]  # (kind, name)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One member on its host and pools. ``domains`` are all that touch it, host and pools among them."""

    member: Member
    host: Host
    pools: tuple[Pool, ...]
    domains: tuple[Domain, ...]


def standings(facts: Facts) -> tuple[Standing, ...]:
    """Every member that is seated, in the order of the design."""
    estate = facts.get_estate()
    hosts = {host.name: host for host in estate.hosts}
    pools = {pool.name: pool for pool in estate.pools}
    above_hosts, above_pools = domains_above(estate), pool_domains_above(estate)
    seats = {seat.member: seat for seat in facts.get_seats()}
    found = []
    for member in facts.design.members:
        seat = seats.get(member.name)
        if seat is None or seat.host not in hosts:
            continue
        used = tuple(dict.fromkeys(pool for _, pool in seat.disks if pool in pools))
        domains = dict.fromkeys(above_hosts[seat.host])
        for pool in used:
            domains |= dict.fromkeys(above_pools[pool])
        found.append(
            Standing(
                member=member,
                host=hosts[seat.host],
                pools=tuple(pools[pool] for pool in used),
                domains=tuple(domains),
            )
        )
    return tuple(found)


def shared(stands: tuple[Standing, ...]) -> Iterator[tuple[Domain, tuple[Member, ...]]]:
    """Every domain that touches more than one member, with these members, in the order of the design."""
    inside: dict[Domain, list[Member]] = {}
    for one in stands:
        for domain in one.domains:
            inside.setdefault(domain, []).append(one.member)
    for domain, members in inside.items():
        if len(members) > 1:
            yield domain, tuple(members)


def needs_on(facts: Facts, host: Host) -> tuple[MemberNeed, ...]:
    """What the members that are seated on this host take."""
    seated = {seat.member for seat in facts.get_seats() if seat.host == host.name}
    return tuple(need for need in facts.get_problem().members if need.name in seated)


def names_text(names: tuple[str, ...]) -> str:
    """Names as people list them. Example: names_text(("a", "b", "c")) == "a, b and c" """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
