"""Rules of names.py: what each says of a bad job, as a whole finding, and of which near one it says nothing."""

from collections.abc import Callable
from typing import Final

from staddle.kernel import Finding, Severity
from staddle.review.facts import Facts
from staddle.review.rule import PRACTICE
from tests.review.ousemoor import L3, facts_of, with_network

__all__ = ["FIRES", "QUIET"]

FIRES: Final[dict[str, list[tuple[Callable[[], Facts], tuple[Finding, ...]]]]] = {
    "zone-of-one-label": [
        (
            lambda: facts_of(("zone: ousemoor.example", "zone: levels")),
            (
                Finding(
                    rule="zone-of-one-label",
                    severity=Severity.RISK,
                    what='the zone is "levels"',
                    where="design.yaml:30:9",
                    why="resolvers complete such names differently or do not ask for them, and public authorities sign none",
                    mend="take a zone below a domain that your organisation holds",
                    source="RFC 7085; RFC 9525 for names in certificates (from memory)",
                ),
            ),
        ),
    ],
    "zone-local": [
        (
            lambda: facts_of(("zone: ousemoor.example", "zone: ousemoor.local")),
            (
                Finding(
                    rule="zone-local",
                    severity=Severity.RISK,
                    what='the zone is "ousemoor.local"',
                    where="design.yaml:30:9",
                    why="many systems ask for such names by multicast on their own link and never reach a name server",
                    mend="take a zone below a domain that your organisation holds",
                    source="RFC 6762 §3",
                ),
            ),
        ),
    ],
    "zone-reserved": [
        (
            lambda: facts_of(("platform: loopback", "platform: by-hand")),
            (
                Finding(
                    rule="zone-reserved",
                    severity=Severity.NOTE,
                    what='the zone is "ousemoor.example"',
                    where="design.yaml:30:9",
                    why="no public name server answers for it, and nobody can be the holder of it",
                    mend="take a zone below a domain that your organisation holds",
                    source="RFC 2606 §2, RFC 6761 §6",
                ),
            ),
        ),
    ],
    "long-ttl": [
        (
            lambda: facts_of(("ttl: 300 s", "ttl: 1 h")),
            (
                Finding(
                    rule="long-ttl",
                    severity=Severity.NOTE,
                    what="the records' time to live is 1 h",
                    where="design.yaml:31:8",
                    why="after a move or a back-out clients go on asking the old address for so long",
                    mend="write ttl: 300 s until the cluster is sealed; mind that missing names are remembered too",
                    source="RFC 2308 for negative answers; the number is common practice, no source",
                ),
            ),
        ),
    ],
    "not-an-old-host-name": [
        (
            lambda: facts_of((L3, "  - {name: 3-levels}")),
            (
                Finding(
                    rule="not-an-old-host-name",
                    severity=Severity.NOTE,
                    what="the name 3-levels",
                    where="design.yaml:21:12",
                    why="they allow 24 characters and want a letter first; old systems still keep to them",
                    mend="take a shorter name that begins with a letter",
                    source="RFC 952, widened by RFC 1123 §2.1",
                ),
            ),
        ),
        (
            lambda: facts_of((L3, "  - {name: levels-3-of-the-tollgates}")),
            (
                Finding(
                    rule="not-an-old-host-name",
                    severity=Severity.NOTE,
                    what="the name levels-3-of-the-tollgates",
                    where="design.yaml:21:12",
                    why="they allow 24 characters and want a letter first; old systems still keep to them",
                    mend="take a shorter name that begins with a letter",
                    source="RFC 952, widened by RFC 1123 §2.1",
                ),
            ),
        ),
    ],
    "full-name-too-long": [
        (
            lambda: facts_of(("zone: ousemoor.example", f"zone: {48 * 'z'}.example")),
            (
                Finding(
                    rule="full-name-too-long",
                    severity=Severity.RISK,
                    what="levels-1.zzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzz.example has 65 characters",
                    where="design.yaml:19:12",
                    why="it does not fit the common name of a certificate, which some appliances fill in by themselves",
                    mend="shorten the member's name or the zone",
                    source="RFC 5280 Appendix A.1, ub-common-name",
                ),
                Finding(
                    rule="full-name-too-long",
                    severity=Severity.RISK,
                    what="levels-2.zzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzz.example has 65 characters",
                    where="design.yaml:20:12",
                    why="it does not fit the common name of a certificate, which some appliances fill in by themselves",
                    mend="shorten the member's name or the zone",
                    source="RFC 5280 Appendix A.1, ub-common-name",
                ),
                Finding(
                    rule="full-name-too-long",
                    severity=Severity.RISK,
                    what="levels-3.zzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzzz.example has 65 characters",
                    where="design.yaml:21:12",
                    why="it does not fit the common name of a certificate, which some appliances fill in by themselves",
                    mend="shorten the member's name or the zone",
                    source="RFC 5280 Appendix A.1, ub-common-name",
                ),
            ),
        ),
    ],
    "no-name-servers": [
        (
            lambda: facts_of(estate=with_network("management", dns_servers=())),
            (
                Finding(
                    rule="no-name-servers",
                    severity=Severity.RISK,
                    what="neither the design nor the network has a name server for levels-1, levels-2, levels-3",
                    where="design.yaml:30:3",
                    why="they find neither each other nor the time servers by name",
                    mend="name servers in names.servers, or in the estate's table of networks",
                    source=PRACTICE,
                ),
            ),
        ),
    ],
}

QUIET: Final[dict[str, list[Callable[[], Facts]]]] = {
    "zone-of-one-label": [
        lambda: facts_of(),
    ],
    "zone-local": [
        lambda: facts_of(("zone: ousemoor.example", "zone: local.ousemoor.example")),
    ],
    "zone-reserved": [
        lambda: facts_of(
            ("platform: loopback", "platform: by-hand"),
            ("zone: ousemoor.example", "zone: example.ousemoor.internal"),
        ),
        lambda: facts_of(),
    ],
    "long-ttl": [
        lambda: facts_of(),
    ],
    "not-an-old-host-name": [
        lambda: facts_of((L3, "  - {name: levels-3-of-the-tollgate}")),
    ],
    "full-name-too-long": [
        lambda: facts_of(("zone: ousemoor.example", f"zone: {47 * 'z'}.example")),
    ],
    "no-name-servers": [
        lambda: facts_of(
            ("ttl: 300 s", "ttl: 300 s\n  servers: [192.0.2.2]"),
            estate=with_network("management", dns_servers=()),
        ),
        lambda: facts_of(estate=with_network("telemetry", dns_servers=())),
    ],
}
