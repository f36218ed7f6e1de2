"""Rules of addresses.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import facts_of, private_networks, with_network

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "addresses-not-planned": [
        (
            lambda: facts_of(("first: 192.0.2.61", "first: 192.0.3.61")),
            (
                Finding(
                    rule="addresses-not-planned",
                    severity=Severity.STOP,
                    what="192.0.3.61 is not an address of management",
                    where="design.yaml:33:54",
                    why="its prefix is 192.0.2.0/25",
                    mend="192.0.2.61 is free",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "network-not-attached": [
        (
            lambda: facts_of(("{package: Telemetry,", "{package: Telemetri,")),
            (
                Finding(
                    rule="network-not-attached",
                    severity=Severity.STOP,
                    what='the package network "Telemetry" is not attached',
                    where="design.yaml:33:3",
                    why="an adapter without its network makes a member that cannot be reached there",
                    mend="give each network of the package a row in networks",
                    source="DSP0243, NetworkSection",
                ),
                Finding(
                    rule="network-not-attached",
                    severity=Severity.STOP,
                    what='the package has no network "Telemetri"',
                    where="design.yaml:34:15",
                    why="its networks are Management, Telemetry",
                    mend="name one of these",
                    source="DSP0243, NetworkSection",
                ),
            ),
        ),
    ],
    "first-address-passed-over": [
        (
            lambda: facts_of(
                ("first: 192.0.2.61", "first: 192.0.2.50"), ("first: 198.51.100.61", "first: 198.51.100.1")
            ),
            (
                Finding(
                    rule="first-address-passed-over",
                    severity=Severity.RISK,
                    what="management: first is 192.0.2.50, which the estate's tables say is in use; levels-1 gets 192.0.2.61",
                    where="design.yaml:33:54",
                    why="whoever wrote the design, or asked for the addresses, counts on others than the members get",
                    mend="write as first the address that the first member gets, or free the one that was meant",
                    source=PRACTICE,
                ),
            ),
        ),
        (
            lambda: facts_of(("first: 192.0.2.61", "first: 192.0.2.1")),
            (
                Finding(
                    rule="first-address-passed-over",
                    severity=Severity.RISK,
                    what="management: first is 192.0.2.1, the gateway's; levels-1 gets 192.0.2.61",
                    where="design.yaml:33:54",
                    why="whoever wrote the design, or asked for the addresses, counts on others than the members get",
                    mend="write as first the address that the first member gets, or free the one that was meant",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "network-nearly-full": [
        (
            lambda: facts_of(
                estate=with_network("management", taken=("192.0.2.2-192.0.2.60", "192.0.2.70-192.0.2.100"))
            ),
            (
                Finding(
                    rule="network-nearly-full",
                    severity=Severity.RISK,
                    what="94 of 126 addresses of management (192.0.2.0/25) are taken with the members, 74 %",
                    where="network management",
                    why="the next member, a replacement beside the old one, or a test has no address",
                    mend="plan a larger block, or give addresses back",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
    "documentation-address": [
        (
            lambda: facts_of(("platform: loopback", "platform: by-hand")),
            (
                Finding(
                    rule="documentation-address",
                    severity=Severity.RISK,
                    what="levels-1 has 192.0.2.61, levels-2 has 192.0.2.62, levels-3 has 192.0.2.63 (documentation: 192.0.2.0/24, RFC 5737)",
                    where="design.yaml:33:5",
                    why="routers and filters may drop it, and others write it into examples",
                    mend="plan addresses from a block of your own",
                    source="RFC 5737, RFC 3849, RFC 9637, RFC 2544",
                ),
                Finding(
                    rule="documentation-address",
                    severity=Severity.RISK,
                    what="levels-1 has 198.51.100.61, levels-2 has 198.51.100.62, levels-3 has 198.51.100.63 (documentation: 198.51.100.0/24, RFC 5737)",
                    where="design.yaml:34:5",
                    why="routers and filters may drop it, and others write it into examples",
                    mend="plan addresses from a block of your own",
                    source="RFC 5737, RFC 3849, RFC 9637, RFC 2544",
                ),
            ),
        ),
    ],
    "loopback-address": [
        (
            lambda: facts_of(
                ("platform: loopback", "platform: by-hand"),
                ("first: 198.51.100.61", "first: 127.0.0.61"),
                estate=with_network("telemetry", prefix="127.0.0.0/24"),
            ),
            (
                Finding(
                    rule="loopback-address",
                    severity=Severity.STOP,
                    what="levels-1 has 127.0.0.61, levels-2 has 127.0.0.62, levels-3 has 127.0.0.63 (loopback: 127.0.0.0/8, RFC 6890)",
                    where="design.yaml:34:5",
                    why="such an address never leaves the machine that has it",
                    mend="plan addresses from a block of your own; rehearse maps addresses by itself",
                    source="RFC 1122 §3.2.1.3, RFC 4291 §2.5.3",
                ),
            ),
        ),
    ],
    "public-address": [
        (
            lambda: facts_of(
                ("platform: loopback", "platform: by-hand"),
                ("first: 198.51.100.61", "first: 192.0.3.61"),
                estate=with_network("telemetry", prefix="192.0.3.0/24"),
            ),
            (
                Finding(
                    rule="public-address",
                    severity=Severity.RISK,
                    what="levels-1 has 192.0.3.61, levels-2 has 192.0.3.62, levels-3 has 192.0.3.63 (public: RFC 6890)",
                    where="design.yaml:34:5",
                    why="unless a firewall stands before it, anybody can knock at it; with a block of others' it cannot be reached",
                    mend="plan private addresses, or waive this where the block is yours and a firewall stands before it",
                    source="RFC 1918 and RFC 4193 for private ones, RFC 6890 for the others",
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "addresses-not-planned": [
        lambda: facts_of(),
    ],
    "network-not-attached": [
        lambda: facts_of(),
    ],
    "first-address-passed-over": [facts_of],
    "network-nearly-full": [
        lambda: facts_of(
            estate=with_network(
                "management", taken=("192.0.2.2-192.0.2.60", "192.0.2.70-192.0.2.94", "192.0.2.80-192.0.2.94")
            )
        ),
    ],
    "documentation-address": [
        lambda: facts_of(
            ("platform: loopback", "platform: by-hand"),
            ("first: 192.0.2.61", "first: 10.20.0.61"),
            ("first: 198.51.100.61", "first: 10.21.0.61"),
            estate=private_networks(),
        ),
    ],
    "loopback-address": [
        lambda: facts_of(
            ("first: 198.51.100.61", "first: 127.0.0.61"),
            estate=with_network("telemetry", prefix="127.0.0.0/24"),
        ),
        lambda: facts_of(("platform: loopback", "platform: by-hand")),
    ],
    "public-address": [
        lambda: facts_of(
            ("platform: loopback", "platform: by-hand"),
            ("first: 192.0.2.61", "first: 10.20.0.61"),
            ("first: 198.51.100.61", "first: 10.21.0.61"),
            estate=private_networks(),
        ),
        lambda: facts_of(("platform: loopback", "platform: by-hand")),
        lambda: facts_of(
            ("first: 198.51.100.61", "first: 192.0.3.61"),
            estate=with_network("telemetry", prefix="192.0.3.0/24"),
        ),
    ],
}
