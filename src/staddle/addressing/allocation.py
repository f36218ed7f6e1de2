"""Members × attachments → addresses: listed ones checked, others taken one after the other from ``first``.

Every fault is found before any is raised. Whether an address answers already on the wire is probes/' to see.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from staddle.addressing.names import cluster_name, full_name
from staddle.addressing.ranges import (
    RANGES,
    Address,
    Block,
    Prefix,
    assignable,
    classify,
    parse_address,
    parse_block,
    parse_prefix,
    unassignable_because,
)
from staddle.design.attached import attached_members, attached_rows
from staddle.design.model import Attachment, Design
from staddle.estate.model import Network
from staddle.kernel import Fault, InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["AddressPlan", "MemberAddress", "MemberAddresses", "plan_addresses"]

_UNFIT: Final = tuple(parse_block(one.prefix) for one in RANGES if not one.fit)


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberAddress:
    """One address of one member, as it is typed: canonical text, ``gateway`` "" where the network has none."""

    package_network: str
    estate_network: str
    address: str
    prefix_length: int
    prefix: str
    gateway: str
    named: bool
    vlan: int | None = None
    mtu: int = 1500
    dns_servers: tuple[str, ...] = ()

    @property
    def netmask(self) -> str:
        """The mask in dotted form for IPv4, the prefix length as text for IPv6."""
        prefix = parse_prefix(self.prefix)
        return str(prefix.netmask) if prefix.version == 4 else str(self.prefix_length)


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberAddresses:
    """One member's names and addresses, in the order of the design's attachments."""

    name: str
    full_name: str
    addresses: tuple[MemberAddress, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AddressPlan:
    """Who has which address. ``cluster`` is the full name that points to every member, "" for none."""

    zone: str
    ttl_s: int
    cluster: str
    members: tuple[MemberAddresses, ...]

    def get_member(self, member: str) -> MemberAddresses:
        """One member. Raises: InputRefused: no such member."""
        for one in self.members:
            if one.name == member:
                return one
        raise InputRefused.one(
            f'the address plan has no member "{member}"',
            why="its members are " + ", ".join(one.name for one in self.members),
            mend="name one of these",
        )

    def named_address(self, member: str) -> MemberAddress:
        """The address that the member's DNS name points to; the first of two kinds. Raises: as get_member."""
        return self.named_addresses(member)[0]

    def named_addresses(self, member: str) -> tuple[MemberAddress, ...]:
        """Every address that the member's DNS name points to, one of a kind, never none. Raises: as get_member."""
        return tuple(one for one in self.get_member(member).addresses if one.named)


def nowhere(path: str) -> str:
    """The place of everything in a design that was not read from a file."""
    return ""


def plan_addresses(
    design: Design, networks: Sequence[Network], *, place: Callable[[str], str] = nowhere
) -> AddressPlan:
    """The addresses of every member on every attached network.

    Args: networks: the estate's; place: tells where a path of the design stands, ``ReadDesign.places.find``.
    Returns: members in the order of the design.
    Raises: InputRefused: every fault at once: unknown network, address outside or not assignable, taken, the
        gateway's, given twice, too few free ones, names that are not host names.
    """
    faults: list[Fault] = []
    lanes = [_Lane(design, number, networks, faults, place) for number in range(len(design.networks))]
    given: dict[tuple[str, Address], str] = {}
    for lane in lanes:  # listed ones first, so that no consecutive one takes them
        lane.take_listed(given)
    for lane in lanes:
        lane.take_consecutive(given)
    members: list[MemberAddresses] = []
    for number, member in enumerate(design.members):
        try:
            name = full_name(member.name, design.names.zone)
        except InputRefused as exc:
            faults += [replace(fault, where=place(f"members[{number}].name")) for fault in exc.faults]
            continue
        named = _named(design.networks, attached_rows(design.networks, member))
        rows = tuple(lane.row(number, named=at in named) for at, lane in enumerate(lanes) if lane.has(number))
        members.append(MemberAddresses(name=member.name, full_name=name, addresses=rows))
    cluster = ""
    try:
        cluster = cluster_name(design)
    except InputRefused as exc:
        faults += [replace(fault, where=place("names.cluster")) for fault in exc.faults]
    if faults:
        raise InputRefused(*faults)
    return AddressPlan(
        zone=design.names.zone, ttl_s=design.names.ttl_s, cluster=cluster, members=tuple(members)
    )


def _named(attachments: Sequence[Attachment], own: Sequence[int]) -> frozenset[int]:
    """Of a member's own attachments those to which its name points: the marked ones, else the first with its other kind."""
    marked = frozenset(number for number in own if attachments[number].named)
    if marked or not own:
        return marked
    return frozenset(n for n in own if attachments[n].package == attachments[own[0]].package)


class _Lane:
    """One attachment while it is filled."""

    def __init__(
        self,
        design: Design,
        number: int,
        networks: Sequence[Network],
        faults: list[Fault],
        place: Callable[[str], str],
    ) -> None:
        self._one = design.networks[number]
        self._for = attached_members(design.networks, design.members, number)
        self._members = tuple(member.name for member in design.members)
        self._path = f"networks[{number}]"
        self._faults = faults
        self._place = place
        self._taken: tuple[Block, ...] = ()
        self._servers: tuple[str, ...] = ()
        self._gateway: Address | None = None
        self._prefix: Prefix | None = None
        self._addresses: dict[int, Address] = {}
        self._network = next((net for net in networks if net.name == self._one.estate), None)
        if self._network is None:
            self._unknown([net.name for net in networks])
        else:
            self._survey(self._network)

    def _fault(self, path: str, what: str, *, why: str = "", mend: str) -> None:
        self._faults.append(Fault(what=what, where=self._place(path), why=why, mend=mend))

    def _unknown(self, names: list[str]) -> None:
        self._fault(
            f"{self._path}.estate",
            f'the estate has no network "{self._one.estate}"',
            why="its networks are " + ", ".join(names) if names else "it has no networks",
            mend=did_you_mean(self._one.estate, names)
            or "name one of these, or add it to the estate's tables",
        )

    def _survey(self, network: Network) -> None:
        try:
            self._prefix = parse_prefix(network.prefix)
            self._gateway = parse_address(network.gateway) if network.gateway else None
            self._taken = tuple(parse_block(text) for text in network.taken)
            self._servers = tuple(str(parse_address(text)) for text in network.dns_servers)
        except InputRefused as exc:
            self._prefix = None
            self._faults.extend(
                replace(fault, where=f"the estate's network {network.name}") for fault in exc.faults
            )

    def take_listed(self, given: dict[tuple[str, Address], str]) -> None:
        if self._prefix is None or not self._one.addresses:
            return
        if len(self._one.addresses) != len(self._for):
            self._fault(
                f"{self._path}.addresses",
                f'the attachment of "{self._one.package}" has {len(self._one.addresses)} addresses'
                f" for {len(self._for)} members",
                mend="give one address a member, in the order of members",
            )
            return
        for at, (number, text) in enumerate(zip(self._for, self._one.addresses, strict=True)):
            path = f"{self._path}.addresses[{at}]"
            try:
                address = parse_address(text)
            except InputRefused as exc:
                self._faults.extend(replace(fault, where=self._place(path)) for fault in exc.faults)
                continue
            why = self._refused(address, self._prefix, given)
            if why:
                self._fault(
                    path,
                    f"{self._members[number]} cannot have {address} on {self._one.estate}",
                    why=why,
                    mend=self._mend(given),
                )
            else:
                self._give(number, address, given)

    def take_consecutive(self, given: dict[tuple[str, Address], str]) -> None:
        if self._prefix is None or not self._one.first:
            return
        path = f"{self._path}.first"
        try:
            first = parse_address(self._one.first)
        except InputRefused as exc:
            self._faults.extend(replace(fault, where=self._place(path)) for fault in exc.faults)
            return
        if first not in self._prefix:
            self._fault(
                path,
                f"{first} is not an address of {self._one.estate}",
                why=f"its prefix is {self._prefix}",
                mend=self._mend(given),
            )
            return
        free = self._free_from(first, given)
        for at, number in enumerate(self._for):
            address = next(free, None)
            if address is None:
                self._fault(
                    path,
                    f"{self._one.estate} has only {at} free addresses from {first} for"
                    f" {len(self._for)} members; {self._members[number]} gets none",
                    why=f"the last assignable one of {self._prefix} is {assignable(self._prefix).last}",
                    mend="begin with a smaller address, or free some of the network",
                )
                return
            self._give(number, address, given)

    def _give(self, number: int, address: Address, given: dict[tuple[str, Address], str]) -> None:
        self._addresses[number] = address
        given[(self._one.estate, address)] = self._members[number]

    def _free_from(self, first: Address, given: dict[tuple[str, Address], str]) -> Iterator[Address]:
        """Free addresses from ``first`` on. Whole blocks are jumped over, since one may hold 2**64 addresses."""
        prefix = self._prefix
        assert prefix is not None
        at = int(first)
        last = int(assignable(prefix).last)
        kind = type(first)
        while at <= last:
            address = kind(at)
            block = next((one for one in (*self._taken, *_UNFIT) if address in one), None)
            if block is not None:
                at = int(block.last) + 1
                continue
            if not self._refused(address, prefix, given):
                yield address
            at += 1

    def _refused(self, address: Address, prefix: Prefix, given: dict[tuple[str, Address], str]) -> str:
        why = unassignable_because(address, prefix)
        if why:
            return why
        kind = classify(address)
        if not kind.fit:
            return f"it is a {kind.name} address ({kind.source})"
        if address == self._gateway:
            return "it is the gateway's"
        if any(address in block for block in self._taken):
            return "the estate's tables say that it is in use"
        owner = given.get((self._one.estate, address))
        return f"{owner} has it already" if owner else ""

    def _mend(self, given: dict[tuple[str, Address], str]) -> str:
        prefix = self._prefix
        assert prefix is not None
        free = next(self._free_from(assignable(prefix).first, given), None)
        return "no address of this network is free" if free is None else f"{free} is free"

    def has(self, number: int) -> bool:
        return number in self._addresses

    def row(self, number: int, *, named: bool) -> MemberAddress:
        network, prefix = self._network, self._prefix
        assert network is not None
        assert prefix is not None
        return MemberAddress(
            package_network=self._one.package,
            estate_network=network.name,
            address=str(self._addresses[number]),
            prefix_length=prefix.prefixlen,
            prefix=str(prefix),
            gateway="" if self._gateway is None else str(self._gateway),
            named=named,
            vlan=network.vlan,
            mtu=network.mtu,
            dns_servers=self._servers,
        )
