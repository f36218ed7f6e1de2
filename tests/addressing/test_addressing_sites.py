"""Addresses of a cluster whose sites have networks of their own."""

from dataclasses import replace

import pytest

from staddle.addressing.allocation import plan_addresses
from staddle.design.model import Design, Member
from staddle.estate.model import Network
from staddle.kernel import InputRefused
from tests.addressing.ousemoor import MGMT, STORE, attach, design

TOLLGATE = Network(name="tg-mgmt", prefix="192.0.2.128/26", gateway="192.0.2.129", vlan=210)
ESTATE = (MGMT, STORE, TOLLGATE)


def two_sites(**there: object) -> Design:
    """log-1 and log-3 at Ousemoor, log-2 at Tollgate; the store network is one for both."""
    asked = design(
        attach(first="192.0.2.20", named=True).model_copy(update={"site": "Ousemoor"}),
        attach("tg-mgmt", named=True, **there).model_copy(update={"site": "Tollgate"}),  # type: ignore[arg-type]  # the test's own values
        attach("ous-store", package="store", first="198.51.100.20"),
    )
    members = tuple(
        Member(name=f"log-{n}", site=site) for n, site in ((1, "Ousemoor"), (2, "Tollgate"), (3, "Ousemoor"))
    )
    return asked.model_copy(update={"members": members})


@pytest.mark.parametrize("there", [{"first": "192.0.2.129"}, {"addresses": ("192.0.2.130",)}])
def test_each_member_has_addresses_of_its_own_site(there: dict[str, object]) -> None:
    plan = plan_addresses(two_sites(**there), ESTATE)
    assert [[(a.estate_network, a.address, a.named) for a in m.addresses] for m in plan.members] == [
        [("ous-mgmt", "192.0.2.20", True), ("ous-store", "198.51.100.20", False)],
        [("tg-mgmt", "192.0.2.130", True), ("ous-store", "198.51.100.21", False)],
        [("ous-mgmt", "192.0.2.21", True), ("ous-store", "198.51.100.22", False)],
    ]


def test_without_a_mark_the_name_points_to_the_first_network_of_each_members_own() -> None:
    asked = two_sites(first="192.0.2.140")
    rows = tuple(row.model_copy(update={"named": False}) for row in asked.networks)
    plan = plan_addresses(asked.model_copy(update={"networks": rows}), ESTATE)
    assert [plan.named_address(m.name).address for m in plan.members] == [
        "192.0.2.20",
        "192.0.2.140",
        "192.0.2.21",
    ]


def test_too_few_are_counted_for_the_members_of_that_row() -> None:
    full = replace(MGMT, taken=("192.0.2.21-192.0.2.63",))
    with pytest.raises(InputRefused) as caught:
        plan_addresses(two_sites(first="192.0.2.140"), (full, STORE, TOLLGATE))
    assert [fault.what for fault in caught.value.faults] == [
        "ous-mgmt has only 1 free addresses from 192.0.2.20 for 2 members; log-3 gets none"
    ]
