"""Rules about addresses and networks. What cannot be planned at all is found by addressing/ and told here."""

from collections.abc import Iterator
from typing import Final

from staddle.addressing.ranges import Address, assignable, classify, parse_address, parse_block, parse_prefix
from staddle.estate.model import Network
from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, found_fault, rule

_MOST_TAKEN_PERCENT: Final = 70
_REHEARSAL: Final = "loopback"


@rule(
    name="addresses-not-planned",
    severity=Severity.STOP,
    title="An address cannot be given",
    reason="it is outside its network, not assignable, in use, given twice or the gateway's",
    mend="take one that is free",
)
def addresses_not_planned(facts: Facts) -> Iterator[Found]:
    yield from (found_fault(fault) for fault in facts.address_faults)


@rule(
    name="network-not-attached",
    severity=Severity.STOP,
    title="A network of the package is not attached, or an attachment names none of the package's",
    reason="an adapter without its network makes a member that cannot be reached there",
    mend="give each network of the package a row in networks",
    source="DSP0243, NetworkSection",
    needs=(Need.PACKAGE,),
)
def network_not_attached(facts: Facts) -> Iterator[Found]:
    package, design = facts.get_package(), facts.design
    attached = {row.package for row in design.networks}
    sizes = {facts.size_of(member) for member in design.members}
    used = dict.fromkeys(
        adapter.network
        for hardware in package.hardware
        if hardware.size_id in sizes
        for adapter in hardware.adapters
        if adapter.network
    )
    for name in used:
        if name not in attached:
            yield Found(what=f'the package network "{name}" is not attached', where=facts.at("networks"))
    for number, row in enumerate(design.networks):
        if row.package not in package.networks:
            yield Found(
                what=f'the package has no network "{row.package}"',
                where=facts.at(f"networks[{number}].package"),
                why=f"its networks are {', '.join(package.networks) or 'none'}",
                mend="name one of these",
            )


@rule(
    name="first-address-passed-over",
    severity=Severity.RISK,
    title="The address that the design calls the first is not free, so the members begin later",
    reason="whoever wrote the design, or asked for the addresses, counts on others than the members get",
    mend="write as first the address that the first member gets, or free the one that was meant",
    needs=(Need.ESTATE, Need.ADDRESSES),
)
def first_address_passed_over(facts: Facts) -> Iterator[Found]:
    networks = {network.name: network for network in facts.get_estate().networks}
    for number, row in enumerate(facts.design.networks):
        given = [
            (member.name, one.address)
            for member in facts.get_addresses().members
            for one in member.addresses
            if (one.package_network, one.estate_network) == (row.package, row.estate)
            and row.first
            and parse_address(one.address).version == parse_address(row.first).version
        ]
        if given and parse_address(given[0][1]) != parse_address(row.first):
            first = parse_address(row.first)
            yield Found(
                what=f"{row.estate}: first is {row.first}, {_why_not(networks[row.estate], first)};"
                f" {given[0][0]} gets {given[0][1]}",
                where=facts.at(f"networks[{number}].first"),
            )


def _why_not(network: Network, address: Address) -> str:
    if network.gateway and parse_address(network.gateway) == address:
        return "the gateway's"
    if any(address in parse_block(text) for text in network.taken):
        return "which the estate's tables say is in use"
    return "which cannot be given"


@rule(
    name="network-nearly-full",
    severity=Severity.RISK,
    title=f"More than {_MOST_TAKEN_PERCENT} % of a network's addresses are taken with the members",
    reason="the next member, a replacement beside the old one, or a test has no address",
    mend="plan a larger block, or give addresses back",
    needs=(Need.ESTATE, Need.ADDRESSES),
)
def network_nearly_full(facts: Facts) -> Iterator[Found]:
    ours: dict[str, set[Address]] = {}
    for member in facts.get_addresses().members:
        for one in member.addresses:
            ours.setdefault(one.estate_network, set()).add(parse_address(one.address))
    for network in facts.get_estate().networks:
        if network.name not in ours:
            continue
        taken, in_all = _taken(network, ours[network.name])
        if 100 * taken > _MOST_TAKEN_PERCENT * in_all:
            yield Found(
                what=f"{taken} of {in_all} addresses of {network.name} ({network.prefix}) are taken with the members, "
                f"{100 * taken // in_all} %",
                where=f"network {network.name}",
            )


def _taken(network: Network, ours: set[Address]) -> tuple[int, int]:
    """How many assignable addresses are taken, and how many there are. Blocks of an IPv6 network are never listed."""
    span = assignable(parse_prefix(network.prefix))
    low, high = int(span.first), int(span.last)
    texts = (*network.taken, *((network.gateway,) if network.gateway else ()))
    blocks = sorted(
        (max(low, int(block.first)), min(high, int(block.last)))
        for block in (*map(parse_block, texts), *(parse_block(str(address)) for address in ours))
        if block.first.version == span.first.version
    )
    taken, upto = 0, low - 1
    for first, last in blocks:
        taken += max(0, last - max(first, upto + 1) + 1)
        upto = max(upto, last)
    return taken, high - low + 1


@rule(
    name="documentation-address",
    severity=Severity.RISK,
    title="A member has an address that is reserved for examples or tests",
    reason="routers and filters may drop it, and others write it into examples",
    mend="plan addresses from a block of your own",
    source="RFC 5737, RFC 3849, RFC 9637, RFC 2544",
    needs=(Need.ADDRESSES,),
)
def documentation_address(facts: Facts) -> Iterator[Found]:
    yield from _in_range(facts, ("documentation", "benchmarking"))


@rule(
    name="loopback-address",
    severity=Severity.STOP,
    title="A member has a loopback address",
    reason="such an address never leaves the machine that has it",
    mend="plan addresses from a block of your own; rehearse maps addresses by itself",
    source="RFC 1122 §3.2.1.3, RFC 4291 §2.5.3",
    needs=(Need.ADDRESSES,),
)
def loopback_address(facts: Facts) -> Iterator[Found]:
    yield from _in_range(facts, ("loopback",))


@rule(
    name="public-address",
    severity=Severity.RISK,
    title="A member has a public address",
    reason="unless a firewall stands before it, anybody can knock at it; with a block of others' it cannot be reached",
    mend="plan private addresses, or waive this where the block is yours and a firewall stands before it",
    source="RFC 1918 and RFC 4193 for private ones, RFC 6890 for the others",
    needs=(Need.ADDRESSES,),
)
def public_address(facts: Facts) -> Iterator[Found]:
    yield from _in_range(facts, ("public",))


def _in_range(facts: Facts, kinds: tuple[str, ...]) -> Iterator[Found]:
    if facts.design.job.platform == _REHEARSAL:
        return
    for number, attachment in enumerate(facts.design.networks):
        told = []
        for member in facts.get_addresses().members:
            told += [
                (member.name, one.address, classify(one.address))
                for one in member.addresses
                if one.package_network == attachment.package
                and one.estate_network == attachment.estate
                and classify(one.address).name in kinds
            ]
        if told:
            ranges = dict.fromkeys(f"{kind.prefix}, {kind.source}".removeprefix(", ") for _, _, kind in told)
            yield Found(
                what=f"{', '.join(f'{name} has {address}' for name, address, _ in told)} "
                f"({told[0][2].name}: {'; '.join(ranges)})",
                where=facts.at(f"networks[{number}]"),
            )
