"""Rules about names in DNS."""

from collections.abc import Iterator
from typing import Final

from staddle.addressing.names import full_name, is_rfc952
from staddle.design.hostname import host_name_fault
from staddle.kernel import Severity, format_duration, parse_duration
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule

_MOST_TTL_S: Final = 300
_MOST_COMMON_NAME: Final = 64  # RFC 5280 Appendix A, ub-common-name
_RESERVED: Final = ("example", "invalid", "localhost", "test")  # RFC 2606 §2, RFC 6761 §6
_REHEARSAL: Final = "loopback"


@rule(
    name="zone-of-one-label",
    severity=Severity.RISK,
    title="The zone is a single label",
    reason="resolvers complete such names differently or do not ask for them, and public authorities sign none",
    mend="take a zone below a domain that your organisation holds",
    source="RFC 7085; RFC 9525 for names in certificates (from memory)",
)
def zone_of_one_label(facts: Facts) -> Iterator[Found]:
    zone = facts.design.names.zone
    if "." not in zone.rstrip("."):
        yield Found(what=f'the zone is "{zone}"', where=facts.at("names.zone"))


@rule(
    name="zone-local",
    severity=Severity.RISK,
    title="The zone ends in .local",
    reason="many systems ask for such names by multicast on their own link and never reach a name server",
    mend="take a zone below a domain that your organisation holds",
    source="RFC 6762 §3",
)
def zone_local(facts: Facts) -> Iterator[Found]:
    zone = facts.design.names.zone
    if zone.rstrip(".").lower().rpartition(".")[2] == "local":
        yield Found(what=f'the zone is "{zone}"', where=facts.at("names.zone"))


@rule(
    name="zone-reserved",
    severity=Severity.NOTE,
    title="The zone is reserved for examples or tests",
    reason="no public name server answers for it, and nobody can be the holder of it",
    mend="take a zone below a domain that your organisation holds",
    source="RFC 2606 §2, RFC 6761 §6",
)
def zone_reserved(facts: Facts) -> Iterator[Found]:
    zone = facts.design.names.zone
    reserved = zone.rstrip(".").lower().rpartition(".")[2] in _RESERVED
    if reserved and facts.design.job.platform != _REHEARSAL:
        yield Found(what=f'the zone is "{zone}"', where=facts.at("names.zone"))


@rule(
    name="long-ttl",
    severity=Severity.NOTE,
    title=f"Records live longer than {_MOST_TTL_S} s",
    reason="after a move or a back-out clients go on asking the old address for so long",
    mend=f"write ttl: {_MOST_TTL_S} s until the cluster is sealed; mind that missing names are remembered too",
    source="RFC 2308 for negative answers; the number is common practice, no source",
)
def long_ttl(facts: Facts) -> Iterator[Found]:
    if facts.design.names.ttl_s > _MOST_TTL_S:
        told = format_duration(parse_duration(facts.design.names.ttl))
        yield Found(what=f"the records' time to live is {told}", where=facts.at("names.ttl"))


@rule(
    name="not-an-old-host-name",
    severity=Severity.NOTE,
    title="A member's name breaks the oldest rules of host names",
    reason="they allow 24 characters and want a letter first; old systems still keep to them",
    mend="take a shorter name that begins with a letter",
    source="RFC 952, widened by RFC 1123 §2.1",
)
def not_an_old_host_name(facts: Facts) -> Iterator[Found]:
    for number, member in enumerate(facts.design.members):
        if not is_rfc952(member.name):
            yield Found(what=f"the name {member.name}", where=facts.at(f"members[{number}].name"))


@rule(
    name="full-name-too-long",
    severity=Severity.RISK,
    title=f"A full name has more than {_MOST_COMMON_NAME} characters",
    reason="it does not fit the common name of a certificate, which some appliances fill in by themselves",
    mend="shorten the member's name or the zone",
    source="RFC 5280 Appendix A.1, ub-common-name",
)
def full_name_too_long(facts: Facts) -> Iterator[Found]:
    zone = facts.design.names.zone
    for number, member in enumerate(facts.design.members):
        if host_name_fault(f"{member.name}.{zone}"):
            continue  # no host name at all: found when the design was read
        name = full_name(member.name, zone)
        if len(name) > _MOST_COMMON_NAME:
            yield Found(what=f"{name} has {len(name)} characters", where=facts.at(f"members[{number}].name"))


@rule(
    name="no-name-servers",
    severity=Severity.RISK,
    title="Members have no name server",
    reason="they find neither each other nor the time servers by name",
    mend="name servers in names.servers, or in the estate's table of networks",
    needs=(Need.ADDRESSES,),
)
def no_name_servers(facts: Facts) -> Iterator[Found]:
    plan = facts.get_addresses()
    without = [one.name for one in plan.members if not plan.named_address(one.name).dns_servers]
    if without and not facts.design.names.servers:
        yield Found(
            what=f"neither the design nor the network has a name server for {', '.join(without)}",
            where=facts.at("names.servers"),
        )
