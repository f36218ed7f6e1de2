"""Zones: published reverse names, then dnspython and named-checkzone judge whole files."""

import os
import shutil
import subprocess
from ipaddress import IPv6Address
from pathlib import Path

import dns.rdatatype
import dns.reversename
import dns.zone
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.addressing.allocation import AddressPlan, plan_addresses
from staddle.addressing.names import cluster_name, full_name, is_rfc952, reverse_name, reverse_zone
from staddle.addressing.zones import Zone, forward_zone, reverse_zones
from staddle.design.model import Design
from staddle.estate.model import Network
from tests.addressing.ousemoor import ESTATE, attach, design

CHECKER = shutil.which("named-checkzone") or shutil.which("named-checkzone", path="/usr/sbin:/usr/bin")
WIDE = Network(name="wide", prefix="203.0.112.0/22")
DESIGNS = {
    "one kind": design(),
    "both kinds": design(attach(first="192.0.2.10"), attach("ous-six", first="2001:db8:10::10")),
    "two reverse zones": design(attach("wide", addresses=("203.0.112.9", "203.0.113.9", "203.0.113.10"))),
    "no cluster name": design(cluster=None),
}


def plan_of(wanted: Design) -> AddressPlan:
    return plan_addresses(wanted, (*ESTATE, WIDE))


def zones_of(wanted: Design) -> tuple[Zone, ...]:
    plan = plan_of(wanted)
    return (forward_zone(plan), *reverse_zones(plan))


# RFC 1035 §3.5; the IPv6 example of RFC 3596 §2.5
def test_reverse_names_of_the_standards() -> None:
    assert reverse_name("192.0.2.5") == "5.2.0.192.in-addr.arpa"
    assert reverse_name("4321:0:1:2:3:4:567:89ab") == (
        "b.a.9.8.7.6.5.0.4.0.0.0.3.0.0.0.2.0.0.0.1.0.0.0.0.0.0.0.1.2.3.4.ip6.arpa"
    )


# dnspython writes an IPv4-mapped address as its IPv4 address; no member may have one, so both readings are fine.
@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.ip_addresses(v=4) | st.integers(0, 2**128 - 1).filter(lambda n: n >> 32 != 0xFFFF).map(IPv6Address))
def test_reverse_names_agree_with_dnspython(address: object) -> None:
    expected = dns.reversename.from_address(str(address)).to_text(omit_final_dot=True)
    assert reverse_name(str(address)) == expected


@pytest.mark.parametrize(
    ("address", "prefix_length", "zone"),
    [
        ("192.0.2.5", 24, "2.0.192.in-addr.arpa"),
        ("192.0.2.5", 26, "2.0.192.in-addr.arpa"),
        ("203.0.113.9", 22, "113.0.203.in-addr.arpa"),
        ("2001:db8:10::5", 64, "0.0.0.0.0.1.0.0.8.b.d.0.1.0.0.2.ip6.arpa"),
        ("2001:db8:10::5", 127, "0.0.0.0.0.1.0.0.8.b.d.0.1.0.0.2.ip6.arpa"),
        ("2001:db8:10::5", 46, "1.0.0.8.b.d.0.1.0.0.2.ip6.arpa"),
    ],
)
def test_the_zone_of_a_reverse_name(address: str, prefix_length: int, zone: str) -> None:
    assert reverse_zone(address, prefix_length) == zone


# RFC 952: a letter first, 24 characters; RFC 1123 §2.1 lets a digit be first
@pytest.mark.parametrize(
    ("name", "old"), [("log-1", True), ("3com", False), ("a" * 24, True), ("a" * 25, False)]
)
def test_the_oldest_rules_of_names(name: str, old: bool) -> None:
    assert is_rfc952(name) is old


def test_names_are_lower_case_and_whole() -> None:
    assert full_name("log-1", "Ousemoor.Example.") == "log-1.ousemoor.example"
    assert cluster_name(design()) == "log.ousemoor.example"
    assert cluster_name(design(cluster=None)) == ""


def test_a_fragment_holds_our_records_alone() -> None:
    forward, reverse = zones_of(design(members=2))
    assert forward.fragment() == (
        "log-1.ousemoor.example.\t300\tIN\tA\t192.0.2.10\n"
        "log-2.ousemoor.example.\t300\tIN\tA\t192.0.2.11\n"
        "log.ousemoor.example.\t300\tIN\tA\t192.0.2.10\n"
        "log.ousemoor.example.\t300\tIN\tA\t192.0.2.11\n"
    )
    assert reverse.name == "2.0.192.in-addr.arpa"
    assert reverse.fragment() == (
        "10.2.0.192.in-addr.arpa.\t300\tIN\tPTR\tlog-1.ousemoor.example.\n"
        "11.2.0.192.in-addr.arpa.\t300\tIN\tPTR\tlog-2.ousemoor.example.\n"
    )


def test_a_subnet_wider_than_a_24_has_a_zone_for_each() -> None:
    assert [zone.name for zone in zones_of(DESIGNS["two reverse zones"])] == [
        "ousemoor.example",
        "112.0.203.in-addr.arpa",
        "113.0.203.in-addr.arpa",
    ]


def test_addresses_without_a_name_are_not_in_dns() -> None:
    plan = plan_of(
        design(attach(first="192.0.2.10"), attach("ous-store", package="storage", first="198.51.100.10"))
    )
    assert "198.51.100" not in forward_zone(plan).text()
    assert [zone.name for zone in reverse_zones(plan)] == ["2.0.192.in-addr.arpa"]


# The outside judge: dnspython's zone parser, with its checks of origin and start of authority
@pytest.mark.parametrize("wanted", DESIGNS.values(), ids=DESIGNS.keys())
def test_dnspython_reads_every_zone_and_both_directions_agree(wanted: Design) -> None:
    plan = plan_of(wanted)
    forward, *backward = (
        dns.zone.from_text(
            zone.text(serial=2026112001), origin=f"{zone.name}.", relativize=False, check_origin=True
        )
        for zone in zones_of(wanted)
    )
    found: dict[str, set[str]] = {}
    for kind in (dns.rdatatype.A, dns.rdatatype.AAAA):
        for name, _, data in forward.iterate_rdatas(kind):
            found.setdefault(name.to_text(omit_final_dot=True), set()).add(data.to_text())
    expected = {
        member.full_name: {one.address for one in plan.named_addresses(member.name)}
        for member in plan.members
    }
    everyone = {address for rows in expected.values() for address in rows}
    assert found == expected | ({plan.cluster: everyone} if plan.cluster else {})
    pointers = {
        (dns.reversename.to_address(name), data.to_text().removesuffix("."))
        for zone in backward
        for name, _, data in zone.iterate_rdatas(dns.rdatatype.PTR)
    }
    assert pointers == {(address, name) for name, rows in expected.items() for address in rows}


@pytest.mark.skipif(
    CHECKER is None and os.environ.get("CI") != "true",
    reason="named-checkzone is not installed (Debian: bind9-utils)",
)
@pytest.mark.parametrize("wanted", DESIGNS.values(), ids=DESIGNS.keys())
def test_named_checkzone_accepts_every_zone(wanted: Design, tmp_path: Path) -> None:
    assert CHECKER is not None, "CI=true, but named-checkzone is not installed"
    for zone in zones_of(wanted):
        file = tmp_path / f"{zone.name}.zone"
        file.write_text(zone.text(serial=2026112001))
        # -i local: no look-ups outside the file; -k fail: names must be host names; -m and -n fail: nothing is only warned of
        done = subprocess.run(
            [CHECKER, "-i", "local", "-k", "fail", "-m", "fail", "-n", "fail", zone.name, str(file)],
            capture_output=True,
            text=True,
            check=False,
        )
        assert (done.returncode, done.stdout.splitlines()) == (
            0,
            [f"zone {zone.name}/IN: loaded serial 2026112001", "OK"],
        ), done.stderr
