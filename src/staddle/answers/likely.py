"""What a question probably asks for, by its words: never an answer, only a reason to ask a person, with what may be meant.

Common practice, no source. An answer comes from the design, the profile or the package alone (resolve.py).
"""

import itertools
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from staddle.package import Property, check_answer

__all__ = ["Meaning", "likely_meaning"]

_WORD: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Meaning:
    """What is probably asked for. ``is_own``: each member has another one; ``values`` of the design that may be meant."""

    what: str
    is_own: bool
    values: tuple[str, ...]

    def text(self) -> str:
        """As the end of a sentence: "it may ask for the address: 192.0.2.61"."""
        return f"it may ask for {self.what}" + (f": {' or '.join(self.values)}" if self.values else "")


# Groups of words of which one of each must be there; the first row that fits tells. What is nobody's own stands before
# what is, since "DNS address" is no address of the member.
_MEANINGS: Final = (
    ("the gateway", False, (("gateway", "gw", "router"),), ("gateway.",)),
    ("the network's mask or prefix length", False, (("netmask", "mask", "prefix", "cidr"),), ("netmask.", "prefix.")),
    ("the name servers", False, (("dns", "nameserver", "nameservers", "resolver", "resolvers"),), ("name_servers",)),
    ("the time servers", False, (("ntp", "timeserver", "timeservers"),), ("time_servers",)),
    ("the time zone", False, (("timezone", "tz"),), ("time_zone",)),
    ("the time zone", False, (("time",), ("zone",)), ("time_zone",)),
    ("the member's name", True, (("hostname", "fqdn"),), ("fqdn", "name")),
    ("the member's name", True, (("host", "machine", "node", "member"), ("name",)), ("fqdn", "name")),
    ("an address of the member", True, (("ip", "ipv", "ipaddr", "ipaddress", "ipv4", "ipv6", "addr"),), ("addresses.",)),
    ("an address of the member", True, (("address",),), ("addresses.",)),
)  # fmt: skip
_OTHERS: Final = frozenset(
    [
        "mail",
        "email",
        "smtp",
        "proxy",
        "mac",
        "peer",
        "leader",
        "primary",
        "master",
        "first",
        "remote",
        "server",
        "syslog",
        "log",
        "ldap",
        "radius",
        "backup",
        "web",
        "url",
        "postal",
        "user",
        "admin",
        "account",
        "contact",
        "broadcast",
        "multicast",
        "virtual",
        "vip",
        "cluster",
    ]
)
"""Beside "address", "ip" or "name" these tell that it is somebody else's."""


def likely_meaning(prop: Property, values: Mapping[str, str]) -> Meaning | None:
    """What a question probably asks for; None where its words tell nothing, or nothing of that kind may answer it.

    Args: values: what the design knows of this member (resolve.known_values).
    Example: likely_meaning(Property(key="vm.ip0", …), values).what == "an address of the member"
    """
    words = set(_words(prop))
    for what, is_own, groups, names in _MEANINGS:
        if not all(words.intersection(group) for group in groups):
            continue
        if is_own and words & _OTHERS:
            return None
        found = tuple(dict.fromkeys(_known(names, values)))
        fitting = tuple(value for value in found if check_answer(prop, value) is None)
        return Meaning(what=what, is_own=is_own, values=fitting) if fitting or not found else None
    return None


def _words(prop: Property) -> Iterator[str]:
    # Not the class before the first dot's key: every key of "net.host.appliance" would speak of a host.
    for text in (prop.bare_key or prop.key.rpartition(".")[2], prop.label):
        parts = [word.casefold() for word in _WORD.findall(text)]
        yield from parts
        yield from (one + two for one, two in itertools.pairwise(parts))  # "ip addr", "time zone", "ipv 4"


def _known(names: tuple[str, ...], values: Mapping[str, str]) -> Iterator[str]:
    for name in names:
        for known, value in values.items():
            if value and (known.startswith(name) if name.endswith(".") else known == name):
                yield from value.split(",") if name == "addresses." else (value,)
