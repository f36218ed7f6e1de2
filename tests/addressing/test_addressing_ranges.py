"""Ranges, prefixes, canonical text, what is assignable: published values and brute force."""

from ipaddress import IPv6Address, ip_address, ip_network

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.addressing.ranges import (
    assignable,
    canonical,
    classify,
    collapse,
    parse_address,
    parse_block,
    parse_prefix,
    range_to_prefixes,
    unassignable_because,
)
from staddle.kernel import InputRefused


# Registries of RFC 6890 and the RFCs named in the row (numbers from memory; private flag recomputed)
@pytest.mark.parametrize(
    ("first", "last", "name", "source"),
    [
        ("10.0.0.0", "10.255.255.255", "private", "RFC 1918 §3"),
        ("172.16.0.0", "172.31.255.255", "private", "RFC 1918 §3"),
        ("192.168.0.0", "192.168.255.255", "private", "RFC 1918 §3"),
        ("100.64.0.0", "100.127.255.255", "shared with a provider", "RFC 6598"),
        ("169.254.0.0", "169.254.255.255", "link-local", "RFC 3927"),
        ("198.18.0.0", "198.19.255.255", "benchmarking", "RFC 2544"),
        ("192.0.2.0", "192.0.2.255", "documentation", "RFC 5737"),
        ("198.51.100.0", "198.51.100.255", "documentation", "RFC 5737"),
        ("203.0.113.0", "203.0.113.255", "documentation", "RFC 5737"),
        ("2001:db8::", "2001:db8:ffff:ffff:ffff:ffff:ffff:ffff", "documentation", "RFC 3849"),
        ("3fff::", "3fff:fff:ffff:ffff:ffff:ffff:ffff:ffff", "documentation", "RFC 9637"),
        ("fc00::", "fdff:ffff:ffff:ffff:ffff:ffff:ffff:ffff", "private", "RFC 4193"),
    ],
)
def test_a_range_begins_and_ends_where_its_rfc_says(first: str, last: str, name: str, source: str) -> None:
    for text in (first, last):
        assert (classify(text).name, classify(text).source) == (name, source)
    for outside in (parse_address(first) - 1, parse_address(last) + 1):
        assert classify(outside).source != source


def test_172_32_is_public() -> None:
    assert classify("172.32.0.1").name == "public"


# Python 3.11's ipaddress: neither private nor global, global, global (recomputed); ours must not repeat it
def test_where_the_standard_library_misleads() -> None:
    assert [classify(text).name for text in ("100.64.0.1", "3fff::1", "224.0.0.1")] == [
        "shared with a provider",
        "documentation",
        "multicast",
    ]
    assert not classify("224.0.0.1").fit
    assert not classify("fe80::1").fit
    assert not classify("::").fit


def test_a_26_has_64_addresses_and_62_hosts() -> None:
    prefix = parse_prefix("192.0.2.0/26")
    block = assignable(prefix)
    assert prefix.num_addresses == 64
    assert (str(prefix.broadcast_address), str(block.first), str(block.last)) == (
        "192.0.2.63",
        "192.0.2.1",
        "192.0.2.62",
    )
    assert int(block.last) - int(block.first) + 1 == 62


def test_a_range_becomes_the_fewest_prefixes() -> None:
    # recomputed by hand: .10/31 .12/30 .16/29 .24/30 .28/31
    assert range_to_prefixes("192.0.2.10", "192.0.2.29") == (
        "192.0.2.10/31",
        "192.0.2.12/30",
        "192.0.2.16/29",
        "192.0.2.24/30",
        "192.0.2.28/31",
    )


# The classic example of RFC 1519 and RFC 4632 (from memory); sizes and ends read in a textbook
def test_the_classic_aggregation() -> None:
    prefixes = ["192.24.0.0/21", "192.24.16.0/20", "192.24.8.0/22", "192.24.12.0/22"]
    assert [(parse_prefix(p).num_addresses, str(parse_prefix(p)[-1])) for p in prefixes] == [
        (2048, "192.24.7.255"),
        (4096, "192.24.31.255"),
        (1024, "192.24.11.255"),
        (1024, "192.24.15.255"),
    ]
    assert collapse(prefixes) == ("192.24.0.0/19",)
    holding = [p for p in [*prefixes, "192.24.0.0/19"] if parse_address("192.24.12.5") in parse_block(p)]
    assert max(holding, key=lambda p: parse_prefix(p).prefixlen) == "192.24.12.0/22"


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.sets(st.integers(0, 63), min_size=1))
def test_collapsing_covers_exactly_the_same_addresses(hosts: set[int]) -> None:
    single = [f"192.0.2.{host}/32" for host in hosts] + ["2001:db8::/65", "2001:db8:0:0:8000::/65"]
    four = [text for text in collapse(single) if ":" not in text]
    covered = {str(address) for text in four for address in ip_network(text)}
    assert covered == {f"192.0.2.{host}" for host in hosts}
    assert collapse(single)[-1] == "2001:db8::/64"


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.integers(0, 255), st.integers(0, 255))
def test_a_range_is_covered_by_disjoint_prefixes_of_falling_count(one: int, other: int) -> None:
    first, last = sorted((one, other))
    parts = range_to_prefixes(f"192.0.2.{first}", f"192.0.2.{last}")
    listed = [int(address) & 0xFF for text in parts for address in ip_network(text)]
    assert listed == list(range(first, last + 1))
    assert len(parts) <= 14  # 2 × 8 bits − 2


# RFC 5952 §4.2.3, §4.2.2, §4.3
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2001:db8:0:0:1:0:0:1", "2001:db8::1:0:0:1"),
        ("2001:db8:0:1:1:1:1:1", "2001:db8:0:1:1:1:1:1"),
        ("2001:DB8::ABCD", "2001:db8::abcd"),
        ("2001:0db8:0000:0000:0000:0000:0000:0001", "2001:db8::1"),
        ("0:0:0:0:0:0:0:0", "::"),
        ("192.0.2.1", "192.0.2.1"),
    ],
)
def test_canonical_text(text: str, expected: str) -> None:
    assert canonical(text) == expected


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.integers(0, 2**128 - 1))
def test_canonical_text_is_the_same_address_and_stays(number: int) -> None:
    long = IPv6Address(number).exploded.upper()
    assert int(parse_address(canonical(long))) == number
    assert canonical(canonical(long)) == canonical(long)


# RFC 3021 (/31), RFC 4291 §2.6.1 (subnet-router anycast), RFC 6164 (/127)
@pytest.mark.parametrize(
    ("address", "prefix", "why"),
    [
        ("192.0.2.0", "192.0.2.0/31", ""),
        ("192.0.2.1", "192.0.2.0/31", ""),
        ("192.0.2.1", "192.0.2.1/32", ""),
        ("192.0.2.0", "192.0.2.0/30", "it is the network address of 192.0.2.0/30"),
        ("192.0.2.3", "192.0.2.0/30", "it is the broadcast address of 192.0.2.0/30"),
        ("192.0.2.4", "192.0.2.0/30", "it is outside 192.0.2.0/30"),
        (
            "2001:db8::",
            "2001:db8::/64",
            "it is the subnet-router anycast address of 2001:db8::/64 (RFC 4291 §2.6.1)",
        ),
        ("2001:db8::ffff:ffff:ffff:ffff", "2001:db8::/64", ""),
        ("2001:db8::", "2001:db8::/127", ""),
        ("2001:db8::1", "192.0.2.0/24", "it is outside 192.0.2.0/24"),
    ],
)
def test_what_a_host_may_have(address: str, prefix: str, why: str) -> None:
    assert unassignable_because(ip_address(address), parse_prefix(prefix)) == why


@pytest.mark.parametrize(
    "text",
    [
        "192.0.2.0/28",
        "192.0.2.0/30",
        "192.0.2.0/31",
        "192.0.2.9/32",
        "2001:db8::/124",
        "2001:db8::/127",
        "2001:db8::/128",
    ],
)
def test_the_assignable_block_is_what_brute_force_finds(text: str) -> None:
    prefix = parse_prefix(text)
    fit = [address for address in prefix if not unassignable_because(address, prefix)]
    assert (assignable(prefix).first, assignable(prefix).last) == (fit[0], fit[-1])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "192.0.2.1/24",
            'error: "192.0.2.1/24" is not a prefix\n  why:   192.0.2.1/24 has host bits set\n  try:   did you mean 192.0.2.0/24?',
        ),
        ("192.0.2.0", 'error: "192.0.2.0" has no prefix length\n  try:   write for example 192.0.2.0/26'),
    ],
)
def test_a_wrong_prefix_is_told(text: str, message: str) -> None:
    with pytest.raises(InputRefused) as caught:
        parse_prefix(text)
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "192.0.2.256",
            'error: "192.0.2.256" is not an address\n  try:   write for example 192.0.2.11 or 2001:db8::11',
        ),
        (
            "192.0.2.010",
            'error: "192.0.2.010" is not an address\n  try:   write for example 192.0.2.11 or 2001:db8::11',
        ),
        (
            "fe80::1%eth0",
            'error: "fe80::1%eth0" has a zone index\n  why:   what follows % holds on one machine only\n  try:   remove it',
        ),
        (
            "192.0.2.9-192.0.2.1",
            'error: "192.0.2.9-192.0.2.1" is not a range of addresses\n  try:   write the smaller address, a hyphen, the larger one',
        ),
        (
            "192.0.2.9-2001:db8::1",
            'error: "192.0.2.9-2001:db8::1" is not a range of addresses\n  try:   write the smaller address, a hyphen, the larger one',
        ),
    ],
)
def test_a_wrong_block_is_told(text: str, message: str) -> None:
    with pytest.raises(InputRefused) as caught:
        parse_block(text)
    assert str(caught.value) == message
