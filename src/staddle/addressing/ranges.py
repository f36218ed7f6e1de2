"""Addresses as sets: which published range one is in, ranges to prefixes and back, canonical text, what is assignable.

The table of ranges is our own: the flags of Python 3.11's ``ipaddress`` leave 100.64.0.0/10 neither private nor
global, call 3fff::/20 global and multicast too (check value h2). Its arithmetic is right and used here.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from ipaddress import (
    IPv4Address,
    IPv4Network,
    IPv6Address,
    IPv6Network,
    collapse_addresses,
    ip_address,
    ip_network,
    summarize_address_range,
)
from typing import Final

from staddle.kernel import InputRefused

__all__ = [
    "RANGES",
    "Address",
    "AddressRange",
    "Block",
    "Prefix",
    "assignable",
    "canonical",
    "classify",
    "collapse",
    "parse_address",
    "parse_block",
    "parse_prefix",
    "range_to_prefixes",
    "unassignable_because",
]

Address = IPv4Address | IPv6Address
Prefix = IPv4Network | IPv6Network


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressRange:
    """One range of the published registries: ``fit`` says whether a member may have such an address at all."""

    prefix: str
    name: str
    source: str
    fit: bool


RANGES: Final[tuple[AddressRange, ...]] = (
    AddressRange(prefix="10.0.0.0/8", name="private", source="RFC 1918 §3", fit=True),
    AddressRange(prefix="172.16.0.0/12", name="private", source="RFC 1918 §3", fit=True),
    AddressRange(prefix="192.168.0.0/16", name="private", source="RFC 1918 §3", fit=True),
    AddressRange(prefix="100.64.0.0/10", name="shared with a provider", source="RFC 6598", fit=True),
    AddressRange(prefix="169.254.0.0/16", name="link-local", source="RFC 3927", fit=False),
    AddressRange(prefix="198.18.0.0/15", name="benchmarking", source="RFC 2544", fit=True),
    AddressRange(prefix="192.0.2.0/24", name="documentation", source="RFC 5737", fit=True),
    AddressRange(prefix="198.51.100.0/24", name="documentation", source="RFC 5737", fit=True),
    AddressRange(prefix="203.0.113.0/24", name="documentation", source="RFC 5737", fit=True),
    AddressRange(prefix="0.0.0.0/8", name="this network", source="RFC 6890", fit=False),
    AddressRange(prefix="127.0.0.0/8", name="loopback", source="RFC 6890", fit=True),
    AddressRange(prefix="224.0.0.0/4", name="multicast", source="RFC 5771", fit=False),
    AddressRange(prefix="240.0.0.0/4", name="reserved", source="RFC 6890", fit=False),
    AddressRange(prefix="fc00::/7", name="private", source="RFC 4193", fit=True),
    AddressRange(prefix="2001:db8::/32", name="documentation", source="RFC 3849", fit=True),
    AddressRange(prefix="3fff::/20", name="documentation", source="RFC 9637", fit=True),
    AddressRange(prefix="fe80::/10", name="link-local", source="RFC 4291 §2.5.6", fit=False),
    AddressRange(prefix="ff00::/8", name="multicast", source="RFC 4291 §2.7", fit=False),
    AddressRange(prefix="::1/128", name="loopback", source="RFC 4291 §2.5.3", fit=True),
    AddressRange(prefix="::ffff:0:0/96", name="IPv4-mapped", source="RFC 4291 §2.5.5.2", fit=False),
    AddressRange(prefix="::/128", name="unspecified", source="RFC 4291 §2.5.2", fit=False),
)
_PUBLIC: Final = AddressRange(prefix="", name="public", source="RFC 6890", fit=True)
_NETWORKS: Final = tuple((ip_network(one.prefix), one) for one in RANGES)


def parse_address(text: str) -> Address:
    """The address from its text.

    Raises: InputRefused: no address, or one with a zone index, which holds on one machine only.
    """
    try:
        found = ip_address(text.strip())
    except ValueError as exc:
        raise InputRefused.one(
            f'"{text}" is not an address', mend="write for example 192.0.2.11 or 2001:db8::11"
        ) from exc
    if isinstance(found, IPv6Address) and found.scope_id:
        raise InputRefused.one(
            f'"{text}" has a zone index', why="what follows % holds on one machine only", mend="remove it"
        )
    return found


def parse_prefix(text: str) -> Prefix:
    """The prefix from CIDR text; bits below the prefix length must be zero.

    Raises: InputRefused: not such a text.
    """
    if "/" not in text:
        raise InputRefused.one(f'"{text}" has no prefix length', mend="write for example 192.0.2.0/26")
    try:
        return ip_network(text.strip())
    except ValueError as exc:
        raise InputRefused.one(f'"{text}" is not a prefix', why=str(exc), mend=_nearest(text)) from exc


def _nearest(text: str) -> str:
    try:
        return f"did you mean {ip_network(text.strip(), strict=False)}?"
    except ValueError:
        return "write for example 192.0.2.0/26 or 2001:db8::/64"


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """Consecutive addresses, both ends belonging to them."""

    first: Address
    last: Address

    def __contains__(self, address: Address) -> bool:
        return self.first.version == address.version and int(self.first) <= int(address) <= int(self.last)


def parse_block(text: str) -> Block:
    """A block from one address, "a-b" or a prefix.

    Raises: InputRefused: none of these; two kinds of address; the ends in the wrong order.
    """
    if "/" in text:
        prefix = parse_prefix(text)
        return Block(first=prefix[0], last=prefix[-1])
    left, dash, right = text.partition("-")
    first = parse_address(left)
    last = parse_address(right) if dash else first
    if first.version != last.version or int(first) > int(last):
        raise InputRefused.one(
            f'"{text}" is not a range of addresses',
            mend="write the smaller address, a hyphen, the larger one",
        )
    return Block(first=first, last=last)


def classify(address: str | Address) -> AddressRange:
    """The narrowest published range that holds the address; "public" where there is none."""
    found = parse_address(address) if isinstance(address, str) else address
    holding = [
        (net.prefixlen, one) for net, one in _NETWORKS if net.version == found.version and found in net
    ]
    return max(holding, key=lambda pair: pair[0])[1] if holding else _PUBLIC


def canonical(text: str) -> str:
    """The address as RFC 5952 §4 wants it: lower case, the longest run of zeros (the first of equals) as ``::``.

    Example: canonical("2001:DB8:0:0:1:0:0:1") == "2001:db8::1:0:0:1"
    """
    return str(parse_address(text))


def range_to_prefixes(first: str, last: str) -> tuple[str, ...]:
    """The fewest prefixes that cover exactly these addresses, in their order.

    Raises: InputRefused: as parse_block.
    """
    block = parse_block(f"{first}-{last}")
    return tuple(str(net) for net in _summarised(block))


def _summarised(block: Block) -> Iterator[Prefix]:
    if isinstance(block.first, IPv4Address) and isinstance(block.last, IPv4Address):
        return summarize_address_range(block.first, block.last)
    return summarize_address_range(IPv6Address(block.first), IPv6Address(block.last))


def collapse(prefixes: Iterable[str]) -> tuple[str, ...]:
    """The fewest prefixes that cover exactly the same addresses, IPv4 before IPv6 (RFC 4632 §5)."""
    parsed = [parse_prefix(text) for text in prefixes]
    four = collapse_addresses([net for net in parsed if isinstance(net, IPv4Network)])
    six = collapse_addresses([net for net in parsed if isinstance(net, IPv6Network)])
    return (*map(str, four), *map(str, six))


def unassignable_because(address: Address, prefix: Prefix) -> str:
    """Why no host may have this address of the prefix, as the end of a sentence; "" if one may. Check value h8."""
    if address not in prefix:
        return f"it is outside {prefix}"
    if isinstance(prefix, IPv4Network):
        if prefix.prefixlen >= 31:
            return ""  # RFC 3021: both addresses of a /31 are hosts'; a /32 is one host
        if address == prefix.network_address:
            return f"it is the network address of {prefix}"
        if address == prefix.broadcast_address:
            return f"it is the broadcast address of {prefix}"
        return ""
    # RFC 4291 §2.6.1; RFC 6164 lifts it for /127
    if prefix.prefixlen < 127 and address == prefix.network_address:
        return f"it is the subnet-router anycast address of {prefix} (RFC 4291 §2.6.1)"
    return ""


def assignable(prefix: Prefix) -> Block:
    """The first and the last address of the prefix that a host may have."""
    first, last = prefix[0], prefix[-1]
    if unassignable_because(first, prefix):
        first = prefix[1]
    if unassignable_because(last, prefix):
        last = prefix[-2]
    return Block(first=first, last=last)
