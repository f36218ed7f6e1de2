"""Packages that were not made for us: what their questions seem to ask is asked back, never answered by likeness."""

from dataclasses import replace

import pytest

from staddle.addressing.allocation import AddressPlan, plan_addresses
from staddle.answers.likely import likely_meaning
from staddle.answers.model import AnswerRow
from staddle.answers.resolve import known_values, resolve_answers
from staddle.answers.sheets import answer_sections
from staddle.design.model import Attachment, Design
from staddle.estate.model import Network
from staddle.package import Property
from tests.answers.questions import NETWORK, addresses_of, answer, design_of, package_of, profile_of, question

SIX = Network(name="om-six", prefix="2001:db8:10::/64", gateway="2001:db8:10::1")


def rows(
    *asked: Property, design: Design | None = None, addresses: AddressPlan | None = None, **rules: str
) -> tuple[AnswerRow, ...]:
    chosen = design or design_of()
    return (
        resolve_answers(
            design=chosen,
            package=package_of(*asked),
            profile=profile_of(**rules),
            addresses=addresses or addresses_of(chosen),
            size_id="river",
        )
        .get_member("levels-1")
        .rows
    )


@pytest.mark.parametrize(
    ("key", "label", "what"),
    [
        ("vm.ip0", "ip0", "an address of the member: 192.0.2.61"),
        ("guestIpAddr", "", "an address of the member: 192.0.2.61"),
        ("net.addr.1", "IPv4 address", "an address of the member: 192.0.2.61"),
        ("a.b", "FQDN of this node", "the member's name: levels-1.ousemoor.example or levels-1"),
        ("app.HostName", "", "the member's name: levels-1.ousemoor.example or levels-1"),
        ("x.dns_address", "DNS address", "the name servers: 192.0.2.2,192.0.2.3"),
        ("x.gw", "", "the gateway: 192.0.2.1"),
        ("x.mask", "", "the network's mask or prefix length: 255.255.255.128 or 25"),
        ("x.TimeZone", "", "the time zone: UTC"),
    ],
)
def test_a_question_in_other_words_is_asked_back_with_what_may_be_meant(
    key: str, label: str, what: str
) -> None:
    (row,) = rows(question(key, label=label, bare_key=key.rpartition(".")[2]))
    assert (row.is_open, row.value) == (True, None)
    assert f"it may ask for {what}" in row.reason


@pytest.mark.parametrize(
    "label",
    ["Mail address", "Proxy host name", "IP of the syslog server", "MAC address", "Log level", "Name of the contact",
     "Cluster virtual IP", "Description", "Recipe", "Chip type"],
)  # fmt: skip
def test_what_is_somebody_elses_is_not_taken_for_the_members(label: str) -> None:
    (row,) = rows(question("x.y", label=label, bare_key="y"))
    assert (row.is_open, row.value) == (False, "")
    assert row.reason == "left empty, as the package allows"


def test_a_default_that_all_members_would_share_is_asked_about() -> None:
    (row,) = rows(question("x.hostname", defaults=(("", "localhost"),)))
    assert row.is_open
    assert 'default "localhost" would be the same for every member' in row.reason


def test_a_default_that_is_not_what_the_design_says_is_asked_about() -> None:
    asked = question("x.ntp", defaults=(("", "time.maker.example"),))
    (row,) = rows(asked)
    assert row.value == "time.maker.example"  # the design says nothing of time servers
    (row,) = rows(asked, design=design_of(servers=("192.0.2.53",)))
    assert row.is_open
    assert "it may ask for the time servers: 192.0.2.53; the package's default is" in row.reason


def test_an_explicit_answer_wins_an_empty_one_too() -> None:
    (row,) = rows(question("x.ip0"), design=design_of(of_first=(answer("x.ip0", ""),)))
    assert (row.is_open, row.value) == (False, "")


def test_a_value_that_the_question_does_not_allow_is_not_offered() -> None:
    (row,) = rows(question("x.ip0", type="uint8", defaults=(("", "0"),)))
    assert row.value == "0"
    (row,) = rows(question("x.address", allowed=("dhcp", "none"), defaults=(("", "dhcp"),)))
    assert row.value == "dhcp"


def both_kinds() -> tuple[Design, AddressPlan]:
    design = design_of()
    six = Attachment(package="Management", estate="om-six", first="2001:db8:10::61")
    design = design.model_copy(update={"networks": (*design.networks, six)})
    return design, plan_addresses(design, (NETWORK, SIX))


def test_of_several_addresses_on_one_network_all_are_offered_and_a_rule_tells_which_it_took() -> None:
    design, addresses = both_kinds()
    (row,) = rows(question("x.ip0"), design=design, addresses=addresses)
    assert row.is_open
    assert "192.0.2.61" in row.reason
    assert "2001:db8:10::61" in row.reason
    (row,) = rows(question("x.ip0"), design=design, addresses=addresses, x__ip0="${address.Management}")
    assert row.value == "192.0.2.61"
    assert row.reason.endswith("${address.Management} (the first of 192.0.2.61, 2001:db8:10::61)")


def test_a_member_on_ipv6_alone_is_offered_its_own() -> None:
    design = design_of()
    six = replace(SIX, dns_servers=("2001:db8:10::2", "2001:db8:10::3"))
    only = Attachment(package="Management", estate="om-six", first="2001:db8:10::61", named=True)
    design = design.model_copy(update={"networks": (only,)})
    addresses = plan_addresses(design, (six,))
    asked = (question("x.ip0"), question("x.netmask"), question("x.dns"))
    offered = [
        row.reason.rpartition("may ask for ")[2] for row in rows(*asked, design=design, addresses=addresses)
    ]
    assert offered[0].startswith("an address of the member: 2001:db8:10::61")
    assert offered[1].startswith("the network's mask or prefix length: 64")
    assert offered[2].startswith("the name servers: 2001:db8:10::2,2001:db8:10::3")


def test_two_questions_of_one_label_are_told_apart_by_their_keys() -> None:
    found = rows(
        question("net.ip.0", label="Address"), question("net.ip.1", label="Address"), question("x.level")
    )
    (section,) = answer_sections(found)
    assert [row.label for row in section.rows] == ["Address [net.ip.0]", "Address [net.ip.1]", "level"]


def test_words_of_a_class_do_not_count() -> None:
    design = design_of()
    values = known_values(design, design.members[0], addresses_of(design))
    assert (
        likely_meaning(question("com.host.name.server.level", bare_key="level", label="Level"), values)
        is None
    )
