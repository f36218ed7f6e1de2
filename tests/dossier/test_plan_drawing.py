"""The plan as a drawing: every host once and to scale, what is failed struck, large estates small and opened on demand."""

import re
from collections.abc import Sequence
from datetime import date
from xml.etree import ElementTree

import pytest

from bench.large_estate import LargeEstate, large_estate
from demo.ousemoor_estate import demo_estate
from staddle.dossier.elevation import Elevation, HostElevation, RackElevation, SiteElevation, StoneElevation
from staddle.dossier.plan_drawing import plan_svg
from staddle.dossier.plan_elevation import plan_elevation
from staddle.dossier.plan_links import PlanLinks
from staddle.estate.model import Estate
from staddle.failures.domains import domains_above
from staddle.failures.scenario import Scenario, named
from staddle.survival.judge import ALL, Judgement
from staddle.survival.serving import State

SVG = "{http://www.w3.org/2000/svg}"
GIB = 1024**3
LINKS = PlanLinks(
    fail=lambda name: f"/plan?fail={name}",
    open=lambda rack: f"/plan?open={rack}",
    take=lambda member: f"/plan?member={member}",
)


def elevation_of(estate: Estate, members: dict[str, str] | None = None) -> Elevation:
    """Half full everywhere; members by host."""
    above = domains_above(estate)
    sites: dict[str, dict[str, list[HostElevation]]] = {}
    for host in estate.hosts:
        names = dict(reversed(above[host.name]))
        stones = tuple(
            StoneElevation(member=member, memory_bytes=16 * GIB)
            for member, at in (members or {}).items()
            if at == host.name
        )
        box = HostElevation(
            name=host.name,
            memory_bytes=host.memory_bytes,
            reserved_bytes=host.reserved_memory_bytes,
            used_bytes=host.memory_bytes // 2,
            members=stones,
        )
        sites.setdefault(names["site"], {}).setdefault(names["rack"], []).append(box)
    return Elevation(
        sites=tuple(
            SiteElevation(
                name=site,
                racks=tuple(RackElevation(name=rack, hosts=tuple(hosts)) for rack, hosts in racks.items()),
            )
            for site, racks in sites.items()
        )
    )


def drawn(
    estate: Estate,
    *,
    members: dict[str, str] | None = None,
    judgement: Judgement | None = None,
    memory: dict[str, int] | None = None,
    opened: Sequence[str] = (),
) -> ElementTree.Element:
    plan = plan_elevation(
        elevation_of(estate, members),
        domains_above(estate),
        judgement=judgement,
        memory_bytes=memory,
        opened=opened,
    )
    return ElementTree.fromstring(plan_svg(plan, cluster="levels", says="in words", links=LINKS))


def judged(scenario: Scenario, **changes: object) -> Judgement:
    values: dict[str, object] = {
        "scenario": scenario,
        "members_lost": (),
        "members_displaced": (),
        "at_once": State.DEGRADED,
        "why": "",
        "afterwards": State.SERVING,
        "why_afterwards": "",
        "back": None,
        "restarts": ALL,
        "reason": "",
        "guests_lost": 0,
        "guests_restarted": 0,
        "not_restarted": (),
        "seats": (),
    }
    return Judgement(**(values | changes))  # type: ignore[arg-type]


def links_of(root: ElementTree.Element) -> dict[str, str]:
    """Where each link leads, by what it says."""
    return {str(a.get("aria-label")): str(a.get("href")) for a in root.iter(f"{SVG}a")}


def hosts_of(root: ElementTree.Element) -> dict[str, float]:
    """The height of each host's box, by name."""
    return {
        str(a.get("data-host")): float(next(a.iter(f"{SVG}rect")).get("height", "0"))
        for a in root.iter(f"{SVG}a")
        if a.get("data-host")
    }


@pytest.fixture(scope="module")
def estate() -> Estate:
    return demo_estate(surveyed=date(2026, 11, 20))


def test_every_host_rack_and_site_is_one_link_that_fails_it(estate: Estate) -> None:
    links = links_of(drawn(estate))
    for kind, names in (
        ("host", [host.name for host in estate.hosts]),
        ("rack", [one.name for one in estate.domains if one.kind == "rack"]),
        ("site", [one.name for one in estate.domains if one.kind == "site"]),
    ):
        for name in names:
            leads = [href for says, href in links.items() if says.startswith(f"{kind} {name}:")]
            assert leads == [f"/plan?fail={name}"], (kind, name)


def test_a_host_is_as_high_as_its_memory(estate: Estate) -> None:
    heights = hosts_of(drawn(estate))
    memory = {host.name: host.memory_bytes for host in estate.hosts}
    assert set(heights) == set(memory)
    # The plate with the name is as high on every host; above it the box is to scale where its lettering leaves it so.
    tall, low = "om-h07", "om-h01"
    plate = 16
    assert (heights[tall] - plate) / (heights[low] - plate) == pytest.approx(
        memory[tall] / memory[low],
        rel=1e-3,  # coordinates have two digits
    )


def test_what_is_failed_says_so_and_what_restarts_has_its_way(estate: Estate) -> None:
    scenario = named(estate, ["om-h01"])
    judgement = judged(
        scenario, members_displaced=("levels-1",), seats=(("levels-1", "om-h03"), ("a guest", "om-h05"))
    )
    members = {"levels-1": "om-h01", "levels-2": "om-h04"}
    root = drawn(estate, members=members, judgement=judgement, memory={"a guest": 8 * GIB})
    says = links_of(root)
    assert [text for text in says if "is failed" in text] == ["host om-h01: is failed; let it stand again"]
    assert any(text.startswith("host om-h05:") and "8 GiB restart here" in text for text in says)
    texts = [text.text for text in root.iter(f"{SVG}text")]
    assert texts.count("levels-1") == 2  # where it stood, and where it restarts
    assert "displaced" in texts
    assert "restarts" in texts
    # Only a member that stands can be taken by the pointer.
    assert [a.get("data-member") for a in root.iter(f"{SVG}a") if a.get("data-member")] == ["levels-2"]


def test_a_large_estate_is_drawn_rack_by_rack_and_opened_on_demand() -> None:
    estate = large_estate(LargeEstate(hosts=400, guests=400))
    root = drawn(estate, members={"levels-1": "h0123"}, opened=["r002"])
    # 40 racks of 10; whole are the one that was opened and the one with a member in it.
    assert set(hosts_of(root)) == {f"h00{n}" for n in range(20, 30)} | {f"h01{n}" for n in range(20, 30)}
    opening = [says for says in links_of(root) if re.match(r"rack r\d+: 10 hosts, memory ", says)]
    assert len(opening) == 40
    assert sum("close it" in says for says in opening) == 2
    ids = [str(one.get("id")) for one in root.iter() if one.get("id")]
    assert len(ids) == len(set(ids))
    # Every host is a cell of its rack, whole or not.
    cells = sum(
        str(path.get("d")).count("M") for path in root.iter(f"{SVG}path") if path.get("fill") == "none"
    )
    assert cells >= 400


def test_racks_stand_room_by_room_and_a_room_is_one_link(estate: Estate) -> None:
    inside = {"OM-R1": "east hall", "OM-R2": "west hall", "OM-R3": "east hall"}
    above = {
        host: tuple(
            key
            for name in names
            for key in ((name, ("room", inside[name[1]])) if name[1] in inside else (name,))
        )
        for host, names in domains_above(estate).items()
    }
    plan = plan_elevation(elevation_of(estate), above)
    assert [rack.name for rack in plan.sites[0].racks] == ["OM-R1", "OM-R3", "OM-R2"]
    links = links_of(ElementTree.fromstring(plan_svg(plan, cluster="levels", says="", links=LINKS)))
    assert links["room east hall: fail it"] == "/plan?fail=east hall"
    assert links["room west hall: fail it"] == "/plan?fail=west hall"


def test_a_name_is_only_a_name(estate: Estate) -> None:
    name = '"><script>alert(1)</script>'
    plan = plan_elevation(
        Elevation(
            sites=(
                SiteElevation(
                    name=name,
                    racks=(
                        RackElevation(
                            name=name,
                            hosts=(
                                HostElevation(name=name, memory_bytes=GIB, reserved_bytes=0, used_bytes=0),
                            ),
                        ),
                    ),
                ),
            )
        ),
        {name: (("host", name), ("rack", name), ("site", name))},
    )
    text = plan_svg(plan, cluster=name, says=name, links=LINKS)
    root = ElementTree.fromstring(text)
    assert "<script" not in text
    assert root.get("aria-label") == f"Where {name} stands"
