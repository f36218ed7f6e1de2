"""Facts of a job about which no rule says anything; each test changes only what it is about.

Three members at three sites, each on a host and a pool of its own, the demo's real package, real reading and planning.
The platform is loopback, so that invented names and addresses are in order.
"""

import tempfile
from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Final

from demo.sluicelog_package import build_package
from staddle.addressing.allocation import plan_addresses
from staddle.answers.resolve import resolve_answers
from staddle.design.limits import Limits, read_limits
from staddle.design.profile import Profile
from staddle.design.reader import read_design, read_model
from staddle.estate.model import Domain, Estate, Guest, Host, Link, Network, Pool
from staddle.kernel import InputRefused
from staddle.package import Package, Verification, read_package, verify_package
from staddle.placement.model import Seat
from staddle.placement.problem import problem_from
from staddle.review.facts import Facts

__all__ = [
    "DESIGN",
    "ESTATE",
    "GB",
    "GIB",
    "L2",
    "L3",
    "SEATS",
    "facts_of",
    "facts_without",
    "limits",
    "private_networks",
    "profile",
    "seat",
    "sluicelog",
    "windows",
    "with_guest",
    "with_host",
    "with_link",
    "with_network",
    "with_pool",
]

GIB: Final = 1 << 30
GB: Final = 1000**3
TB: Final = 1000**4
L2: Final = "  - {name: levels-2, leads: second, site: Tollgate}"
L3: Final = "  - {name: levels-3, site: Lode}"
WINDOW: Final = '  - {opens: "2026-12-05 20:00", closes: "2026-12-06 02:00", zone: Europe/London}\n'
PROFILE_FILE = Path(__file__).parents[2] / "src/staddle/appliances/profiles/sluicelog.yaml"

DESIGN: Final = """\
job:
  name: levels
  cluster: Ousemoor levels
  owner: hydrology
  engineer: R. Fenwold
  change: OM-2611
  approved_by: H. Marle
  approved_on: 2026-11-18
  estate: ../estate
  platform: loopback
package:
  file: ../sluicelog-4.2.0.ova
  size: river
  profile: sluicelog
  sha256: "SHA256"
  licence_accepted_by: the contracts office
  licence_accepted_on: 2026-11-20
members:
  - {name: levels-1, leads: first, site: Ousemoor}
  - {name: levels-2, leads: second, site: Tollgate}
  - {name: levels-3, site: Lode}
apart: [host, rack, pool]
survive:
  - any 1 host
  - any 1 rack
storage:
  allocation: thick
  snapshot_percent: 15
names:
  zone: ousemoor.example
  ttl: 300 s
networks:
  - {package: Management, estate: management, first: 192.0.2.61, named: true}
  - {package: Telemetry, estate: telemetry, first: 198.51.100.61}
clock:
  zone: UTC
  servers: [192.0.2.4, 192.0.2.5, 192.0.2.6, 192.0.2.7]
  most_offset: 100 ms
trust:
  fingerprint: console
  join_secret_lifetime: 1 h
windows:
  - {opens: "2026-12-05 20:00", closes: "2026-12-06 02:00", zone: Europe/London}
"""

LIMITS: Final = """\
- {what: platform, value: kvm 7 to 8.2, source: list, dated: 2026-09-14}
- {what: system-type, value: no limit, source: list, dated: 2026-09-14}
- {what: processor-level, value: x86-64-v2, source: list, dated: 2026-09-14}
- {what: size, value: river, applies_to: data, source: guide, dated: 2026-09-14}
- {what: members-fewest, value: 3, source: guide, dated: 2026-09-14}
- {what: members-most, value: 9, source: guide, dated: 2026-09-14}
- {what: latency-most, value: 10 ms, source: guide, dated: 2026-09-14}
- {what: disk-growth, value: only at creation, source: guide, dated: 2026-09-14}
- {what: upgrade, value: 4.1 to 4.2, source: notes, dated: 2026-09-14}
- {what: licence-members, value: 3, source: order, dated: 2026-09-14}
- {what: licences-held, value: 1, source: order, dated: 2026-09-14}
"""

SITES: Final = (("Ousemoor", "om"), ("Tollgate", "tg"), ("Lode", "fl"))


def _host(short: str, number: int) -> Host:
    return Host(
        name=f"{short}-h{number}",
        domains=(f"{short}-rack-{number}",),
        cores=32,
        memory_bytes=256 * GIB,
        reserved_memory_bytes=16 * GIB,
        vcpu_per_core=4.0,
        cpu_level="x86-64-v3",
        networks=("management", "telemetry"),
        pools=(f"{short}-store-1", f"{short}-store-2"),
        numa_nodes=2,
        platform="kvm",
        platform_version="8.2",
    )


def _pool(short: str, number: int) -> Pool:
    return Pool(
        name=f"{short}-store-{number}",
        domains=(f"{short}-rack-{number}",),
        capacity_bytes=10 * TB,
        used_bytes=5 * TB,
        promised_bytes=5 * TB,
        floor_percent=15.0,
    )


ESTATE: Final = Estate(
    name="Ousemoor Drainage Commission",
    surveyed=date(2026, 11, 20),
    surveyed_by="R. Fenwold",
    domains=tuple(
        domain
        for site, short in SITES
        for domain in (
            Domain(name=site, kind="site"),
            Domain(name=f"{short}-rack-1", kind="rack", inside=site),
            Domain(name=f"{short}-rack-2", kind="rack", inside=site),
        )
    ),
    hosts=tuple(_host(short, number) for _, short in SITES for number in (1, 2)),
    pools=tuple(_pool(short, number) for _, short in SITES for number in (1, 2)),
    networks=(
        Network(
            name="management",
            prefix="192.0.2.0/25",
            gateway="192.0.2.1",
            dns_servers=("192.0.2.2", "192.0.2.3"),
            taken=("192.0.2.2-192.0.2.60",),
        ),
        Network(name="telemetry", prefix="198.51.100.0/24"),
    ),
    guests=(
        Guest(
            name="archive",
            host="om-h1",
            memory_bytes=64 * GIB,
            vcpus=16,
            pool="om-store-1",
            disk_bytes=2 * TB,
        ),
    ),
    links=tuple(
        Link(name=f"{one} to {other}", sites=(one, other), round_trip_us=4_000)
        for one, other in combinations((site for site, _ in SITES), 2)
    ),
)


def seat(member: str, short: str, number: int = 1) -> Seat:
    """A member on host and pool of that number at the site of that short name."""
    pool = f"{short}-store-{number}"
    return Seat(member=member, host=f"{short}-h{number}", disks=(("system", pool), ("data", pool)))


SEATS: Final = (seat("levels-1", "om"), seat("levels-2", "tg"), seat("levels-3", "fl"))


@cache
def sluicelog() -> tuple[Package, Verification]:
    """The demo's package, read and verified; that it is not signed is left out."""
    with tempfile.TemporaryDirectory() as folder:
        path = build_package(Path(folder))
        return read_package(path), replace(verify_package(path), findings=())


@cache
def profile() -> Profile:
    """The demo's profile, as if a recorded run proved it."""
    text = PROFILE_FILE.read_text(encoding="utf-8")
    read = read_model(text, Profile, where="profile sluicelog").value
    return read.model_copy(update={"proven": "run of 2026-11-01"})


def with_host(name: str, **changes: object) -> Estate:
    """The estate with one host changed."""
    hosts = (replace(h, **changes) if h.name == name else h for h in ESTATE.hosts)  # type: ignore[arg-type]  # the test's own values
    return replace(ESTATE, hosts=tuple(hosts))


def with_pool(name: str, **changes: object) -> Estate:
    """The estate with one pool changed."""
    pools = (replace(p, **changes) if p.name == name else p for p in ESTATE.pools)  # type: ignore[arg-type]  # the test's own values
    return replace(ESTATE, pools=tuple(pools))


def with_network(name: str, **changes: object) -> Estate:
    """The estate with one network changed."""
    networks = (replace(n, **changes) if n.name == name else n for n in ESTATE.networks)  # type: ignore[arg-type]  # the test's own values
    return replace(ESTATE, networks=tuple(networks))


def private_networks() -> Estate:
    """The estate with both networks in private blocks (RFC 1918)."""
    networks = (
        replace(ESTATE.networks[0], prefix="10.20.0.0/24", gateway="10.20.0.1", taken=()),
        replace(ESTATE.networks[1], prefix="10.21.0.0/24"),
    )
    return replace(ESTATE, networks=networks)


def with_link(one: str, other: str, round_trip_us: int | None) -> Estate:
    """The estate with one round trip changed; None: nobody wrote it down."""
    links = tuple(link for link in ESTATE.links if set(link.sites) != {one, other})
    if round_trip_us is not None:
        # The names in the order that a person may well write them.
        links += (Link(name="changed", sites=(other, one), round_trip_us=round_trip_us),)
    return replace(ESTATE, links=links)


def with_guest(**changes: object) -> Estate:
    """The estate with its one guest, on om-h1, changed."""
    return replace(ESTATE, guests=(replace(ESTATE.guests[0], **changes),))  # type: ignore[arg-type]  # the test's own values


def limits(*edits: tuple[str, str]) -> Limits:
    """The limits with these pieces of their text, each there exactly once, changed."""
    text = LIMITS
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return read_limits(text, where="limits.yaml")


def windows(*rows: tuple[str, str, str]) -> tuple[str, str]:
    """The edit that sets these windows, each (opens, closes, zone)."""
    lines = [f'  - {{opens: "{opens}", closes: "{closes}", zone: {zone}}}' for opens, closes, zone in rows]
    return "windows:\n" + WINDOW, "windows:\n" + "\n".join(lines) + "\n" if rows else "windows: []\n"


def facts_of(
    *edits: tuple[str, str],
    estate: Estate = ESTATE,
    seats: Iterable[Seat] = SEATS,
    package: Package | None = None,
    **changes: object,
) -> Facts:
    """The facts with these changes.

    Args: edits: pieces of the design's text, each there exactly once, and what stands there instead; changes: other
        fields of the facts, set last. For facts without a part see facts_without.
    """
    shipped, verification = sluicelog()
    text = DESIGN
    for old, new in (*edits, ("SHA256", verification.package_sha256)):
        assert text.count(old) == 1 or old == "SHA256", f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    read = read_design(text, where="design.yaml")
    facts = Facts(
        design=read.design,
        places=read.places,
        today=date(2026, 11, 25),
        now=datetime(2026, 11, 25, 12, tzinfo=UTC),
        estate=estate,
        package=package or shipped,
        verification=verification,
        profile=profile(),
        seats=tuple(seats),
        limits=read_limits(LIMITS, where="limits.yaml"),
        sights=(),
    )
    return replace(_planned(facts), **changes)  # type: ignore[arg-type]  # the test's own values


def _planned(facts: Facts) -> Facts:
    design, estate, package = facts.design, facts.get_estate(), facts.get_package()
    try:
        problem = problem_from(design=design, estate=estate, package=package, limits=facts.limits)
        facts = replace(facts, problem=problem)
    except InputRefused as exc:
        facts = replace(facts, placement_faults=exc.faults)
    try:
        addresses = plan_addresses(design, estate.networks, place=facts.places.find)
    except InputRefused as exc:
        return replace(facts, address_faults=exc.faults)
    facts = replace(facts, addresses=addresses)
    try:
        answers = resolve_answers(
            design=design,
            package=package,
            profile=facts.get_profile(),
            addresses=addresses,
            size_id=design.package.size,
        )
    except InputRefused as exc:
        return replace(facts, answer_faults=exc.faults)
    return replace(facts, answers=answers)


def facts_without(*parts: str) -> Facts:
    """The facts without these parts."""
    return replace(facts_of(), **dict.fromkeys(parts))  # type: ignore[arg-type]  # each part may be None
