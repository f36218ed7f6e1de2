"""Names in DNS: a member's full name, the cluster's, and the name under which an address is looked up backwards.

What may be a host name at all is design/hostname.py.
"""

from typing import Final

from staddle.addressing.ranges import parse_address
from staddle.design.hostname import check_host_name
from staddle.design.model import Design

__all__ = ["cluster_name", "full_name", "is_rfc952", "reverse_name", "reverse_zone"]

_RFC952_LENGTH: Final = 24
_DEEPEST_NIBBLES: Final = (
    16  # a /64: what is routed to a subnet, so what its owner is given (common practice, no source)
)


def full_name(member: str, zone: str) -> str:
    """The member's name with its zone, lower case, no last dot.

    Raises: InputRefused: the whole is not a host name (too long, or a forbidden character).
    """
    return check_host_name(f"{member}.{zone}")


def cluster_name(design: Design) -> str:
    """The full name that points to every member; "" if the design wants none.

    Raises: InputRefused: as full_name.
    """
    return "" if design.names.cluster is None else full_name(design.names.cluster, design.names.zone)


def is_rfc952(name: str) -> bool:
    """Whether even the oldest rules allow it: a letter first, at most 24 characters in all (RFC 952)."""
    return len(name) <= _RFC952_LENGTH and name[:1].isalpha() and name.isascii()


def reverse_name(address: str) -> str:
    """The name of the address in in-addr.arpa (RFC 1035 §3.5) or ip6.arpa (RFC 3596 §2.5), no last dot."""
    found = parse_address(address)
    if found.version == 4:
        return ".".join(reversed(str(found).split("."))) + ".in-addr.arpa"
    return ".".join(reversed(f"{int(found):032x}")) + ".ip6.arpa"


def reverse_zone(address: str, prefix_length: int) -> str:
    """The zone that holds the reverse name: the /24 of an IPv4 address; the nibbles of an IPv6 prefix, at most /64.

    Smaller IPv4 subnets are records of their /24's zone, which usually has another owner. A prefix shorter than a
    /24 has several zones; this is the one of the address. RFC 2317's delegations are the owner's to make.
    """
    labels = reverse_name(address).split(".")
    if parse_address(address).version == 4:
        return ".".join(labels[1:])
    kept = min(prefix_length // 4, _DEEPEST_NIBBLES)
    return ".".join(labels[32 - kept :])
