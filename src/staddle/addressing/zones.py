"""Forward and reverse zones as text for whoever owns them (RFC 1035 §5): records to paste, and whole zone files.

The start of authority and the name servers are the owner's: a whole file holds placeholders under ``.invalid``
(RFC 2606), so that it parses and no one can load it by mistake. Only addresses that names point to get a
name backwards, so that both directions agree.
"""

from dataclasses import dataclass
from typing import Final

from staddle.addressing.allocation import AddressPlan
from staddle.addressing.names import reverse_name, reverse_zone
from staddle.addressing.ranges import parse_address

__all__ = ["Record", "Zone", "forward_zone", "reverse_zones"]

_PLACEHOLDER: Final = "the-owner-fills-this-in.invalid."


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One record; ``owner`` and names in ``value`` are whole, with their last dot."""

    owner: str
    ttl_s: int
    kind: str
    value: str

    def line(self) -> str:
        """The record as a line of a zone file."""
        return f"{self.owner}\t{self.ttl_s}\tIN\t{self.kind}\t{self.value}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """One zone: its name without last dot, and our records in it."""

    name: str
    ttl_s: int
    records: tuple[Record, ...]

    def fragment(self) -> str:
        """Our records alone, one a line, to paste into the owner's file."""
        return "".join(record.line() + "\n" for record in self.records)

    def text(self, *, serial: int = 1) -> str:
        """A whole zone file with placeholders for what is its owner's.

        Args: serial: the start of authority's serial, 0 to 2**32 - 1 (RFC 1982).
        """
        return (
            f"; Zone {self.name}: records asked for. Paste them below your own start of authority and name\n"
            "; servers; the placeholders under .invalid only make this file complete.\n"
            f"$ORIGIN {self.name}.\n"
            f"$TTL {self.ttl_s}\n"
            f"@\tIN\tSOA\t{_PLACEHOLDER} hostmaster.{_PLACEHOLDER} {serial} 3600 900 604800 {self.ttl_s}\n"
            f"@\tIN\tNS\t{_PLACEHOLDER}\n" + self.fragment()
        )


def forward_zone(plan: AddressPlan) -> Zone:
    """A and AAAA records of every member, then those of the cluster's name, if there is one."""
    records: list[Record] = []
    together: list[Record] = []
    for member in plan.members:
        for one in plan.named_addresses(member.name):
            kind = "A" if parse_address(one.address).version == 4 else "AAAA"
            records.append(
                Record(owner=f"{member.full_name}.", ttl_s=plan.ttl_s, kind=kind, value=one.address)
            )
            if plan.cluster:
                together.append(
                    Record(owner=f"{plan.cluster}.", ttl_s=plan.ttl_s, kind=kind, value=one.address)
                )
    return Zone(name=plan.zone.removesuffix(".").lower(), ttl_s=plan.ttl_s, records=(*records, *together))


def reverse_zones(plan: AddressPlan) -> tuple[Zone, ...]:
    """PTR records of every named address, a zone each, in the order in which they are first needed."""
    by_zone: dict[str, list[Record]] = {}
    for member in plan.members:
        for one in plan.named_addresses(member.name):
            record = Record(
                owner=f"{reverse_name(one.address)}.",
                ttl_s=plan.ttl_s,
                kind="PTR",
                value=f"{member.full_name}.",
            )
            by_zone.setdefault(reverse_zone(one.address, one.prefix_length), []).append(record)
    return tuple(Zone(name=name, ttl_s=plan.ttl_s, records=tuple(rows)) for name, rows in by_zone.items())
