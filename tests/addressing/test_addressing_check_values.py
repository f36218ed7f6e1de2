"""The check values h1 to h8 for addresses and names, each in one place. Sources stand beside them; [M]: from memory."""

import pytest

from staddle.addressing.names import full_name, is_rfc952, reverse_name
from staddle.addressing.ranges import (
    canonical,
    classify,
    collapse,
    parse_address,
    parse_block,
    parse_prefix,
    range_to_prefixes,
    unassignable_because,
)
from staddle.design.hostname import host_name_fault
from staddle.kernel import InputRefused


@pytest.mark.parametrize(
    ("address", "name"),
    [
        ("10.1.2.3", "private"), ("172.16.0.0", "private"), ("172.31.255.255", "private"), ("172.32.0.1", "public"),
        ("192.168.1.1", "private"), ("100.64.0.1", "shared with a provider"), ("169.254.1.1", "link-local"),
        ("198.18.0.1", "benchmarking"), ("198.19.255.255", "benchmarking"), ("192.0.2.1", "documentation"),
        ("198.51.100.1", "documentation"), ("203.0.113.1", "documentation"), ("2001:db8::1", "documentation"),
        ("3fff::1", "documentation"), ("fd00::1", "private"),
    ],
)  # fmt: skip
def test_h1_ranges(address: str, name: str) -> None:
    # RFC 1918, 6598, 3927, 2544, 5737, 3849, 9637, 4193, 6890
    assert classify(address).name == name


def test_h2_where_the_standard_library_is_wrong() -> None:
    assert [classify(text).name for text in ("100.64.0.1", "3fff::1", "224.0.0.1")] == [
        "shared with a provider", "documentation", "multicast"
    ]  # fmt: skip


def test_h3_a_block_of_64_and_a_range_as_prefixes() -> None:
    hosts = [f"192.0.2.{last}" for last in range(64) if _may_be_given(f"192.0.2.{last}", "192.0.2.0/26")]
    assert (len(hosts), hosts[0], hosts[-1]) == (
        62,
        "192.0.2.1",
        "192.0.2.62",
    )  # .63 is the broadcast address
    assert range_to_prefixes("192.0.2.10", "192.0.2.29") == (
        "192.0.2.10/31", "192.0.2.12/30", "192.0.2.16/29", "192.0.2.24/30", "192.0.2.28/31"
    )  # fmt: skip


def _may_be_given(address: str, prefix: str) -> bool:
    return not unassignable_because(parse_address(address), parse_prefix(prefix))


def test_h4_aggregation_and_the_longest_match() -> None:
    # RFC 1519, RFC 4632 [M]
    prefixes = ["192.24.0.0/21", "192.24.16.0/20", "192.24.8.0/22", "192.24.12.0/22"]
    assert collapse(prefixes) == ("192.24.0.0/19",)
    holding = [p for p in [*prefixes, "192.24.0.0/19"] if parse_address("192.24.12.5") in parse_block(p)]
    assert max(holding, key=lambda prefix: int(prefix.rpartition("/")[2])) == "192.24.12.0/22"


def test_h5_reverse_names() -> None:
    assert reverse_name("192.0.2.5") == "5.2.0.192.in-addr.arpa"
    # RFC 3596 §2.5
    assert reverse_name("4321:0:1:2:3:4:567:89ab") == (
        "b.a.9.8.7.6.5.0.4.0.0.0.3.0.0.0.2.0.0.0.1.0.0.0.0.0.0.0.1.2.3.4.ip6.arpa"
    )


def test_h6_canonical_text_of_ipv6() -> None:
    # RFC 5952 §4.2.2, §4.2.3, §4.3
    assert canonical("2001:DB8:0:0:1:0:0:1") == "2001:db8::1:0:0:1"
    assert canonical("2001:db8:0:1:1:1:1:1") == "2001:db8:0:1:1:1:1:1"


def test_h7_host_names() -> None:
    # RFC 952; RFC 1123 §2.1; RFC 1035 §2.3.4 [M]
    long = ".".join(["a" * 63] * 3)
    assert host_name_fault(f"{long}.{'a' * 61}") == ""  # 253 characters
    assert "254 characters" in host_name_fault(f"{long}.{'a' * 62}")
    assert "63 are allowed" in host_name_fault("a" * 64)
    assert host_name_fault("3com-like.example") == ""  # a leading digit
    assert [
        bool(host_name_fault(name)) for name in ("a_b.example", "a.example.1", "-a.example", "a-.example")
    ] == [True] * 4
    assert (is_rfc952("a" * 24), is_rfc952("a" * 25), is_rfc952("1a")) == (True, False, False)
    with pytest.raises(InputRefused):
        full_name("a_b", "example")


def test_h8_what_may_be_given_to_a_machine() -> None:
    # RFC 3021: both of a /31; first and last of others never; RFC 4291 §2.6.1: ::0 is the routers' anycast [M]
    assert [_may_be_given(f"192.0.2.{last}", "192.0.2.0/31") for last in (0, 1)] == [True, True]
    assert [_may_be_given(f"192.0.2.{last}", "192.0.2.0/29") for last in (0, 1, 6, 7)] == [
        False,
        True,
        True,
        False,
    ]
    last = "2001:db8::ffff:ffff:ffff:ffff"
    assert [_may_be_given(one, "2001:db8::/64") for one in ("2001:db8::", "2001:db8::1", last)] == [
        False,
        True,
        True,
    ]
