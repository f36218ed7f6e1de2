"""What is asked for in each request, in words to paste, from design, addresses, package, profile and placement.

Owners and lead times are starting values: common practice, no source. Dates and signatures are requests.py's.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final

from staddle.addressing.allocation import AddressPlan
from staddle.addressing.ports import PortMatrix, PortRow
from staddle.addressing.ranges import parse_address
from staddle.addressing.zones import forward_zone, reverse_zones
from staddle.answers.requests import Probe, ProbeKind, Request
from staddle.design.model import Design
from staddle.design.profile import Profile
from staddle.kernel import format_binary, format_decimal
from staddle.package import Package
from staddle.placement.model import Seat

__all__ = ["STARTING", "Asked", "all_requests", "port_matrix"]

STARTING: Final = {
    "approval": ("change board", 10),
    "addresses": ("network team", 5),
    "names": ("owner of the DNS zones", 5),
    "openings": ("firewall team", 10),
    "certificates": ("certificate authority", 10),
    "licence": ("contracts office", 15),
    "accounts": ("accounts team", 5),
    "storage": ("storage team", 10),
    "backup": ("backup team", 5),
    "monitoring": ("monitoring team", 5),
    "console": ("virtualisation team", 3),
}
"""Kind → owner, lead time in working days. Common practice, no source; requests.yaml says otherwise where it does."""

_DNS: Final = 53  # RFC 1035 §4.2
_NTP: Final = 123  # RFC 5905 §7.2


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the requests are made of. Args: size_id: of members without one of their own; seats: () before placing."""

    design: Design
    addresses: AddressPlan
    package: Package
    profile: Profile | None
    size_id: str
    seats: Sequence[Seat] = ()

    @cached_property
    def name_servers(self) -> tuple[str, ...]:
        """The design's, else those of the networks that names point to, each once."""
        mine = (self.addresses.named_address(one.name).dns_servers for one in self.addresses.members)
        return self.design.names.servers or tuple(dict.fromkeys(one for servers in mine for one in servers))

    @cached_property
    def named(self) -> tuple[tuple[str, str], ...]:
        """(member, address) for every address that a name points to."""
        plan = self.addresses
        return tuple((m.name, a.address) for m in plan.members for a in plan.named_addresses(m.name))

    @property
    def port(self) -> int | None:
        """Where the appliance answers; None while no profile tells it."""
        return None if self.profile is None else self.profile.port

    @property
    def appliance(self) -> str:
        """The appliance, as people call it."""
        return self.package.product or self.package.name if self.profile is None else self.profile.title

    @property
    def title(self) -> str:
        """The work in a few words, as the first line of what is pasted."""
        job = self.design.job
        change = f", change {job.change}" if job.change else ""
        return f"For the cluster {job.cluster} ({self.appliance}, job {job.name}{change}):"


def all_requests(asked: Asked) -> tuple[Request, ...]:
    """Every request of a job, without dates, in the order of KINDS."""
    made: Mapping[str, tuple[str, list[str], tuple[Probe, ...]]] = {
        "approval": _approval(asked),
        "addresses": _addresses(asked),
        "names": _names(asked),
        "openings": _openings(asked),
        "certificates": _certificates(asked),
        "licence": _licence(asked),
        "accounts": _accounts(asked),
        "storage": _storage(asked),
        "backup": _backup(asked),
        "monitoring": _monitoring(asked),
        "console": _console(asked),
    }
    return tuple(
        Request(
            kind=kind,
            title=title,
            text="\n".join((asked.title, *lines)),
            owner=STARTING[kind][0],
            lead_days=STARTING[kind][1],
            probes=probes,
        )
        for kind, (title, lines, probes) in made.items()
    )


def port_matrix(asked: Asked) -> PortMatrix:
    """Every opening that the profile's port, the name servers and the time servers call for."""
    rows: list[PortRow] = []
    if (port := asked.port) is not None:
        rows += [
            _row("clients", "members", port, "tcp", f"people and programs use {asked.appliance}"),
            _row("engineer's machine", "members", port, "tcp", "setting up, and proving that it stands"),
        ]
    if port is not None and len(asked.design.members) > 1:
        rows.append(_row("members", "members", port, "tcp", "the members speak with each other"))
    if asked.name_servers:
        # RFC 7766 §5: what resolves names must be able to ask over TCP as well.
        rows += [
            _row(who, "name servers", _DNS, protocol, "looking up names")
            for who in ("members", "engineer's machine")
            for protocol in ("udp", "tcp")
        ]
    if asked.design.clock.servers:
        rows.append(_row("members", "time servers", _NTP, "udp", "setting the clock"))
    return PortMatrix(rows=tuple(rows))


def _row(who: str, whom: str, port: int, protocol: str, why: str) -> PortRow:
    return PortRow(who=who, whom=whom, port=port, protocol=protocol, why=why)


_Made = tuple[str, list[str], tuple[Probe, ...]]


def _signed(what: str) -> tuple[Probe, ...]:
    return (Probe(kind=ProbeKind.PERSON, target=what),)


def _approval(asked: Asked) -> _Made:
    job = asked.design.job
    lines = [f"Please approve standing up {len(asked.design.members)} new virtual machines as one cluster."]
    lines += [f"  window: {one.opens} to {one.closes} {one.zone}" for one in asked.design.windows]
    lines += [
        f"  change reference: {job.change or '____________'}",
        f"  carried out by: {job.engineer or '____________'}; the approver is somebody else",
        "  plan and record: records/dossier.pdf of the job, which staddle dossier writes",
    ]
    return "Change approval", lines, _signed("the change is approved")


def _addresses(asked: Asked) -> _Made:
    lines = ["Please reserve these addresses and keep them out of automatic assignment."]
    lines += [
        f"  {member.full_name}: {one.address}/{one.prefix_length} on {one.estate_network}"
        + (f", gateway {one.gateway}" if one.gateway else "")
        + (f", VLAN {one.vlan}" if one.vlan is not None else "")
        for member in asked.addresses.members
        for one in member.addresses
    ]
    port = asked.port
    probes = tuple(
        Probe(kind=ProbeKind.SILENT, target=one.address, port=port)
        for member in asked.addresses.members
        for one in member.addresses
        if port is not None
    )
    return "Addresses", lines, (*probes, *_signed("the addresses are reserved"))


def _names(asked: Asked) -> _Made:
    lines: list[str] = []
    zones = (forward_zone(asked.addresses), *reverse_zones(asked.addresses))
    for zone in zones:
        lines += [f"Please add to the zone {zone.name}:", *zone.fragment().expandtabs(1).splitlines()]
    forward: dict[tuple[str, int], set[str]] = {}
    for member in asked.addresses.members:
        for one in asked.addresses.named_addresses(member.name):
            for name in filter(None, (member.full_name, asked.addresses.cluster)):
                forward.setdefault((name, parse_address(one.address).version), set()).add(one.address)
    probes = [
        Probe(kind=ProbeKind.FORWARD, target=name, expect=tuple(sorted(wanted)), ask=asked.name_servers)
        for (name, _), wanted in sorted(forward.items())
    ]
    full = {member.name: member.full_name for member in asked.addresses.members}
    probes += [
        Probe(kind=ProbeKind.REVERSE, target=address, expect=(full[name],), ask=asked.name_servers)
        for name, address in asked.named
    ]
    return "Names in DNS", lines, tuple(probes)


def _openings(asked: Asked) -> _Made:
    rows = port_matrix(asked).rows
    wide = max((len(f"{row.who} to {row.whom}") for row in rows), default=0)
    lines = ["Please open, from who begins to whom it goes:"]
    lines += [f"  {f'{r.who} to {r.whom}':<{wide}}  {r.protocol} {r.port:<5}  {r.why}" for r in rows]
    lines += [
        "where",
        *(f"  members: {name} {_every_address(asked, name)}" for name in _member_names(asked)),
        "  clients: ____________ (the design does not know them)",
        "  engineer's machine: ____________",
    ]
    if asked.name_servers:
        lines.append(f"  name servers: {', '.join(asked.name_servers)}")
    if asked.design.clock.servers:
        lines.append(f"  time servers: {', '.join(asked.design.clock.servers)}")
    lines.append(
        f"Only port {asked.port} is in the appliance's profile: add what its maker's papers name beside it."
        if asked.port is not None
        else "The appliance's own ports are not known, since it has no profile: add those that its maker's papers name:"
    )
    if asked.port is None:
        pairs = ("clients", "engineer's machine", *(("members",) if len(asked.design.members) > 1 else ()))
        lines += [f"  {who} to members  ____________" for who in pairs]
    probes = tuple(
        Probe(kind=ProbeKind.REACH, target=f"{row.who} to {row.whom}, {row.protocol} {row.port}")
        for row in rows
    )
    return "Firewall openings", lines, probes


def _member_names(asked: Asked) -> tuple[str, ...]:
    return tuple(one.name for one in asked.addresses.members)


def _every_address(asked: Asked, member: str) -> str:
    return ", ".join(one.address for one in asked.addresses.get_member(member).addresses)


def _certificates(asked: Asked) -> _Made:
    plan = asked.addresses
    lines = [
        "If members show certificates of your authority, please sign one a member (server authentication):"
    ]
    lines += [
        f"  {member.full_name}; other names: "
        + ", ".join(
            (
                *filter(None, (plan.cluster,)),
                *(one.address for one in plan.named_addresses(member.name)),
            )
        )
        for member in plan.members
    ]
    lines.append(
        "Each member makes its own key and signing request after its first start; keys are not sent."
    )
    return "Certificate signing", lines, _signed("the authority agreed, or none is wanted")


def _licence(asked: Asked) -> _Made:
    package, holding = asked.package, sum(1 for one in asked.design.members if one.data)
    lines = [
        f"Please provide licence keys for {package.product or package.name} {package.version}".rstrip() + ":",
        f"  {len(asked.design.members)} members, {holding} of them hold data, size {asked.size_id or 'the only one'}",
    ]
    if package.licences:
        accepted = asked.design.package.licence_accepted_by
        lines.append(
            f"  licence texts in the package: {len(package.licences)}, accepted by {accepted or 'nobody yet'}"
        )
    if asked.design.load.samples_per_second is not None:
        lines.append(f"  load: {asked.design.load.samples_per_second} samples a second")
    return "Licence keys", lines, _signed("the keys are there, or none are needed")


def _accounts(asked: Asked) -> _Made:
    job = asked.design.job
    who = job.engineer or "____________ (the engineer)"
    lines = [
        "Please give for the time of the work:",
        f"  {who}: to create, start and remove machines, and to read their consoles",
        "and for good:",
        f"  {job.owner or '____________ (the team that answers for it)'}: to administer the cluster",
        "  ____________: a second person who can get at the administrator's password",
    ]
    return "Accounts and access", lines, _signed("the engineer has signed in once")


def _storage(asked: Asked) -> _Made:
    rules = asked.design.storage
    rows = {choice.disk: choice for choice in rules.disks}
    seats = {seat.member: seat for seat in asked.seats}
    lines = ["Please keep this room free (disks alone; swap files and snapshots come on top):"]
    total = 0
    for member in asked.design.members:
        hardware = asked.package.get_hardware(member.size or asked.size_id)
        pools = dict(seats[member.name].disks) if member.name in seats else {}
        for device in hardware.disks:
            choice = rows.get(device.disk_id)
            own = None if choice is None else choice.capacity_bytes
            size = own or asked.package.get_disk(device.disk_id).capacity_for(hardware.size_id)
            total += size
            allocation = rules.allocation if choice is None else choice.allocation
            pool = pools.get(device.disk_id, "____________ (not placed yet)")
            lines.append(f"  {member.name} {device.disk_id}: {format_binary(size)}, {allocation}, on {pool}")
    lines.append(f"  together {format_binary(total)} ({format_decimal(total)})")
    allowance = [f"{rules.snapshot_percent} % of the disks for snapshots"] if rules.snapshot_percent else []
    allowance += [f"{rules.swap_percent} % of the memory for swap files"] if rules.swap_percent else []
    if allowance:
        lines.append("  on top: " + ", ".join(allowance))
    return "Storage", lines, _signed("the room is kept free")


def _backup(asked: Asked) -> _Made:
    kept = asked.design.load.retention
    lines = [
        "Please set up a backup job, to start after the work is done, and restore from it once as a trial:",
        *(f"  {one.full_name}" for one in asked.addresses.members),
    ]
    if kept:
        lines.append(f"  the cluster itself keeps its data for {kept}")
    lines += [
        "  Ask the maker's papers whether the machines may be copied while they run, or data is exported.",
        "  how often ____________   kept for ____________   last trial ____________",
    ]
    return "Backup job", lines, _signed("the job is set up, and a day for the trial is agreed")


def _monitoring(asked: Asked) -> _Made:
    watched = "port ____________" if asked.port is None else f"tcp {asked.port}"
    lines = ["Please watch, silent until the work is done:"]
    lines += [
        f"  {one.full_name} {asked.addresses.named_address(one.name).address}: {watched},"
        " its certificate's end, processor, memory, disks"
        for one in asked.addresses.members
    ]
    if asked.addresses.cluster:
        lines.append(f"  {asked.addresses.cluster}: the cluster as its users see it")
    lines.append("  call ____________ when one member is lost, ____________ when more are")
    return "Monitoring of the new cluster", lines, _signed("the watch is prepared")


def _console(asked: Asked) -> _Made:
    who = asked.design.job.engineer or "____________"
    lines = [
        f"Please see that {who}, or somebody on call, can read the machines' consoles in the window:",
        *(f"  {name}" for name in _member_names(asked)),
        "Each member's certificate fingerprint is read there before any secret is sent to it.",
    ]
    return "Console access", lines, _signed("a console was opened once by whoever will do it")
