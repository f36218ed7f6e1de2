"""Which rows of networks hold for which member, in a cluster whose sites have networks of their own."""

import pytest

from staddle.design.attached import attached_members, attached_rows
from staddle.design.model import Attachment, Member
from staddle.design.reader import read_design
from staddle.kernel import InputRefused
from tests.design.bad_designs import GOOD


def row(package: str, site: str = "") -> Attachment:
    return Attachment(package=package, estate=f"{site or 'any'}-{package}", site=site, first="192.0.2.1")


ROWS = (row("mgmt", "Ousemoor"), row("mgmt"), row("data"), row("mgmt", "Tollgate"), row("data", "Tollgate"))


@pytest.mark.parametrize(
    ("site", "rows"),
    [("Ousemoor", (0, 2)), ("Tollgate", (3, 4)), ("Fennick's Lode", (1, 2)), ("", (1, 2))],
)
def test_a_site_with_a_row_of_its_own_takes_it_and_all_others_the_common_one(
    site: str, rows: tuple[int, ...]
) -> None:
    assert attached_rows(ROWS, Member(name="m", site=site)) == rows


def test_a_row_knows_its_members_in_their_order() -> None:
    members = [
        Member(name=f"m{n}", site=site) for n, site in enumerate(("Tollgate", "Ousemoor", "", "Tollgate"))
    ]
    assert [attached_members(ROWS, members, number) for number in range(5)] == [
        (1,),
        (2,),
        (1, 2),
        (0, 3),
        (0, 3),
    ]


SITES = (
    GOOD.replace("    leads: first\n", "    leads: first\n    site: Ousemoor\n")
    .replace("    leads: second\n", "    leads: second\n    site: Tollgate\n")
    .replace("  - name: log-3\n", "  - {name: log-3, site: Tollgate}\n")
    .partition("networks:\n")[0]
    + "networks:\n"
)


def refused(networks: str) -> list[str]:
    with pytest.raises(InputRefused) as caught:
        read_design(SITES + networks, where="d")
    return [fault.what for fault in caught.value.faults]


def test_listed_addresses_are_one_for_each_member_that_the_row_is_for() -> None:
    mine = "  - {package: m, site: Ousemoor, estate: a, addresses: [192.0.2.1]}\n"
    others = "  - {package: m, estate: b, addresses: [192.0.2.129, 192.0.2.130]}\n"
    assert len(read_design(SITES + mine + others, where="d").design.networks) == 2
    three = others.replace("130]", "130, 192.0.2.131]")
    assert refused(mine + three) == ['the attachment of "m" has 3 addresses for 2 members']


def test_one_site_has_one_row_of_a_kind_and_one_named_address() -> None:
    rows = (
        "  - {package: m, site: Ousemoor, estate: a, first: 192.0.2.1, named: true}\n"
        "  - {package: m, site: Tollgate, estate: b, first: 192.0.2.129, named: true}\n"
    )
    assert len(read_design(SITES + rows, where="d").design.networks) == 2
    again = rows + "  - {package: m, site: Tollgate, estate: c, first: 198.51.100.1}\n"
    assert refused(again) == ['the package network "m" is attached twice for IPv4 at Tollgate']
    both = rows + "  - {package: t, estate: c, first: 198.51.100.1, named: true}\n"
    assert refused(both) == ["a second attachment with IPv4 addresses is named: true"]


def test_a_common_row_that_no_member_needs_is_told() -> None:
    rows = "".join(
        f"  - {{package: m, {site} estate: {name}, first: 192.0.2.{first}}}\n"
        for site, name, first in (("site: Ousemoor,", "a", 1), ("site: Tollgate,", "b", 129), ("", "c", 65))
    )
    assert refused(rows) == ['the attachment of "m" without a site is for no member']
