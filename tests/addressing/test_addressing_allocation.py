"""Giving addresses: what is given, what is refused, all faults at once; against brute force."""

from dataclasses import replace
from ipaddress import ip_address, ip_network

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.addressing.allocation import AddressPlan, plan_addresses
from staddle.addressing.ports import PortMatrix, PortRow
from staddle.design.model import Design
from staddle.design.reader import read_design
from staddle.estate.model import Network
from staddle.kernel import InputRefused, canonical_json, from_json
from tests.addressing.ousemoor import ESTATE, MGMT, SIX, attach, design


def addresses(plan: AddressPlan) -> list[list[str]]:
    return [[one.address for one in member.addresses] for member in plan.members]


def refusal(wanted: Design, networks: tuple[Network, ...] = ESTATE) -> str:
    with pytest.raises(InputRefused) as caught:
        plan_addresses(wanted, networks)
    return str(caught.value)


def test_consecutive_addresses_pass_over_what_is_taken() -> None:
    assert addresses(plan_addresses(design(), ESTATE)) == [["192.0.2.10"], ["192.0.2.11"], ["192.0.2.13"]]


def test_consecutive_addresses_pass_over_the_network_address_and_the_gateway() -> None:
    plan = plan_addresses(design(attach(first="192.0.2.0")), (replace(MGMT, taken=()),))
    assert addresses(plan) == [["192.0.2.2"], ["192.0.2.3"], ["192.0.2.4"]]


def test_listed_addresses_are_kept_clear_of_consecutive_ones() -> None:
    plan = plan_addresses(
        design(
            attach(first="192.0.2.20"),
            attach(package="sync", addresses=("192.0.2.21", "192.0.2.23", "192.0.2.40")),
        ),
        ESTATE,
    )
    assert addresses(plan) == [
        ["192.0.2.20", "192.0.2.21"],
        ["192.0.2.22", "192.0.2.23"],
        ["192.0.2.24", "192.0.2.40"],
    ]


def test_a_row_holds_everything_that_is_typed() -> None:
    member = plan_addresses(design(), ESTATE).get_member("log-1")
    row = member.addresses[0]
    assert (member.full_name, row.address, row.prefix_length, row.prefix, row.gateway, row.netmask) == (
        "log-1.ousemoor.example",
        "192.0.2.10",
        26,
        "192.0.2.0/26",
        "192.0.2.1",
        "255.255.255.192",
    )
    assert (row.estate_network, row.package_network, row.vlan, row.mtu, row.dns_servers, row.named) == (
        "ous-mgmt",
        "management",
        110,
        1500,
        ("192.0.2.53",),
        True,
    )


def test_names_point_to_the_first_attachment_unless_one_is_marked() -> None:
    first, second = attach(first="192.0.2.10"), attach("ous-store", package="storage", first="198.51.100.10")
    assert plan_addresses(design(first, second), ESTATE).named_address("log-2").address == "192.0.2.11"
    marked = second.model_copy(update={"named": True})
    assert plan_addresses(design(first, marked), ESTATE).named_address("log-2").address == "198.51.100.11"


def test_both_kinds_of_address_of_one_package_network_are_named() -> None:
    plan = plan_addresses(
        design(attach(first="192.0.2.10"), attach("ous-six", first="2001:db8:10::10")), ESTATE
    )
    assert [one.address for one in plan.named_addresses("log-1")] == ["192.0.2.10", "2001:db8:10::10"]
    assert plan.named_addresses("log-1")[1].netmask == "64"


def test_an_ipv6_address_is_given_in_canonical_text() -> None:
    plan = plan_addresses(design(attach("ous-six", first="2001:0DB8:10:0::A")), ESTATE)
    assert addresses(plan) == [["2001:db8:10::a"], ["2001:db8:10::b"], ["2001:db8:10::c"]]


def test_a_taken_block_of_half_a_64_is_jumped_over() -> None:
    network = replace(SIX, taken=("2001:db8:10::/65",))
    plan = plan_addresses(design(attach("ous-six", first="2001:db8:10::2")), (network,))
    assert addresses(plan)[0] == ["2001:db8:10:0:8000::"]


def test_a_31_holds_two_members() -> None:
    link = Network(name="link", prefix="192.0.2.62/31")
    plan = plan_addresses(design(attach("link", first="192.0.2.62"), members=2), (link,))
    assert addresses(plan) == [["192.0.2.62"], ["192.0.2.63"]]


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("192.0.2.0", "it is the network address of 192.0.2.0/26"),
        ("192.0.2.63", "it is the broadcast address of 192.0.2.0/26"),
        ("192.0.2.64", "it is outside 192.0.2.0/26"),
        ("2001:db8::1", "it is outside 192.0.2.0/26"),
        ("192.0.2.1", "it is the gateway's"),
        ("192.0.2.5", "the estate's tables say that it is in use"),
        ("192.0.2.30", "log-2 has it already"),
    ],
)
def test_a_listed_address_is_refused_with_its_reason(address: str, why: str) -> None:
    told = refusal(design(attach(addresses=("192.0.2.20", "192.0.2.30", address))))
    assert told == (
        f"error: log-3 cannot have {address} on ous-mgmt\n  why:   {why}\n  try:   192.0.2.10 is free"
    )


def test_too_few_free_addresses() -> None:
    assert refusal(design(attach(first="192.0.2.61"))) == (
        "error: ous-mgmt has only 2 free addresses from 192.0.2.61 for 3 members; log-3 gets none\n"
        "  why:   the last assignable one of 192.0.2.0/26 is 192.0.2.62\n"
        "  try:   begin with a smaller address, or free some of the network"
    )


def test_a_first_address_of_another_network() -> None:
    assert refusal(design(attach(first="198.51.100.10"))) == (
        "error: 198.51.100.10 is not an address of ous-mgmt\n"
        "  why:   its prefix is 192.0.2.0/26\n"
        "  try:   192.0.2.10 is free"
    )


def test_a_network_that_the_estate_lacks() -> None:
    assert refusal(design(attach("ous-mgt", first="192.0.2.10"))) == (
        'error: the estate has no network "ous-mgt"\n'
        "  why:   its networks are ous-mgmt, ous-store, ous-six\n"
        '  try:   did you mean "ous-mgmt"?'
    )


@pytest.mark.parametrize(
    ("prefix", "address", "kind"),
    [
        ("169.254.0.0/16", "169.254.0.9", "a link-local address (RFC 3927)"),
        ("fe80::/64", "fe80::9", "a link-local address (RFC 4291 §2.5.6)"),
    ],
)
def test_a_network_whose_addresses_no_member_may_have(prefix: str, address: str, kind: str) -> None:
    local = Network(name="local", prefix=prefix)
    assert refusal(design(attach("local", addresses=(address,)), members=1), (local,)) == (
        f"error: log-1 cannot have {address} on local\n"
        f"  why:   it is {kind}\n"
        "  try:   no address of this network is free"
    )


def test_a_fault_of_the_estate_is_told_at_the_estate() -> None:
    wrong = replace(MGMT, prefix="192.0.2.1/26")
    assert refusal(design(), (wrong,)) == (
        'error: "192.0.2.1/26" is not a prefix\n'
        "  where: the estate's network ous-mgmt\n"
        "  why:   192.0.2.1/26 has host bits set\n"
        "  try:   did you mean 192.0.2.0/26?"
    )


def test_a_name_that_is_too_long() -> None:
    zone = ".".join(["a" * 61] * 4)  # 247 characters; "log-1." makes 253, "log-10." one too many
    assert len(plan_addresses(design(zone=zone, members=1, cluster=None), ESTATE).members[0].full_name) == 253
    told = refusal(design(zone=zone, members=10, cluster=None))
    assert told == (
        f'error: "log-10.{zone}" is not a host name\n'
        "  why:   it has 254 characters, 253 are allowed (RFC 1035 §2.3.4)\n"
        "  try:   write a name such as sluicelog-1.ousemoor.example"
    )


YAML = """\
job: {name: ousemoor-log, cluster: Ousemoor water levels, estate: ../estate}
package: {file: sluicelog.ova, profile: sluicelog}
members: [{name: log-1, leads: first}, {name: log-2}, {name: log-3}]
names: {zone: ousemoor.example}
networks:
  - package: management
    estate: ous-mgmt
    addresses:
      - 192.0.2.1
      - 192.0.2.20
      - 192.0.2.63
  - {package: storage, estate: ous-stor, first: 198.51.100.10}
"""


def test_all_faults_are_told_at_once_at_their_places_in_the_design() -> None:
    read = read_design(YAML, where="design.yaml")
    with pytest.raises(InputRefused) as caught:
        plan_addresses(read.design, ESTATE, place=read.places.find)
    assert [(fault.where, fault.what) for fault in caught.value.faults] == [
        ("design.yaml:12:32", 'the estate has no network "ous-stor"'),
        ("design.yaml:9:9", "log-1 cannot have 192.0.2.1 on ous-mgmt"),
        ("design.yaml:11:9", "log-3 cannot have 192.0.2.63 on ous-mgmt"),
    ]


def test_a_plan_reads_back_from_json() -> None:
    plan = plan_addresses(design(), ESTATE)
    assert from_json(canonical_json(plan), AddressPlan) == plan


def test_a_member_that_the_plan_lacks() -> None:
    with pytest.raises(InputRefused) as caught:
        plan_addresses(design(), ESTATE).named_address("log-9")
    assert str(caught.value) == (
        'error: the address plan has no member "log-9"\n'
        "  why:   its members are log-1, log-2, log-3\n"
        "  try:   name one of these"
    )


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(
    st.sets(st.integers(0, 15)),
    st.integers(0, 15),
    st.none() | st.integers(1, 14),
    st.integers(1, 5),
)
def test_consecutive_addresses_are_the_first_free_ones(
    taken: set[int], first: int, gateway: int | None, members: int
) -> None:
    network = Network(
        name="ous-mgmt",
        prefix="192.0.2.16/28",
        gateway="" if gateway is None else f"192.0.2.{16 + gateway}",
        taken=tuple(f"192.0.2.{16 + n}" for n in sorted(taken)),
    )
    # brute force: the standard library's list of hosts, less what is not free
    hosts = [int(address) & 0xF for address in ip_network("192.0.2.16/28").hosts()]
    free = [n for n in hosts if n >= first and n not in taken and n != gateway]
    wanted = design(attach(first=f"192.0.2.{16 + first}"), members=members)
    if len(free) < members:
        assert f"has only {len(free)} free addresses" in refusal(wanted, (network,))
        return
    got = [int(ip_address(row[0])) & 0xF for row in addresses(plan_addresses(wanted, (network,)))]
    assert got == free[:members]


def test_a_port_matrix_is_sorted_and_each_row_stands_once() -> None:
    row = PortRow(who="log-2", whom="log-1", port=8443, protocol="tcp", why="joins")
    other = PortRow(who="log-1", whom="ntp-1", port=123, protocol="udp", why="time")
    assert PortMatrix(rows=(row, other, row)).rows == (other, row)


@pytest.mark.parametrize(
    ("port", "protocol", "why", "message"),
    [
        (0, "tcp", "x", "error: 0 is not a port of tcp\n  try:   write 1 to 65535, or 0 for icmp"),
        (65536, "udp", "x", "error: 65536 is not a port of udp\n  try:   write 1 to 65535, or 0 for icmp"),
        (7, "icmp", "x", "error: 7 is not a port of icmp\n  try:   write 1 to 65535, or 0 for icmp"),
        (
            80,
            "http",
            "x",
            'error: "http" is not a protocol of the port matrix\n  try:   write tcp, udp or icmp',
        ),
        (80, "tcp", " ", "error: an opening on port 80 has no why\n  try:   say its why"),
    ],
)
def test_an_impossible_opening_is_refused(port: int, protocol: str, why: str, message: str) -> None:
    with pytest.raises(InputRefused) as caught:
        PortRow(who="a", whom="b", port=port, protocol=protocol, why=why)
    assert str(caught.value) == message
