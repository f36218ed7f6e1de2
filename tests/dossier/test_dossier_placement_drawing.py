"""The placement drawing: nothing overlaps, nobody is left out, text stays text, the sums are the estate's."""

from collections import defaultdict
from dataclasses import replace
from datetime import timedelta

from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from staddle.dossier.elevation import (
    Elevation,
    FeedElevation,
    HostElevation,
    PoolElevation,
    RackElevation,
    SiteElevation,
    StoneElevation,
    fitted,
    placement_drawing_data,
)
from staddle.dossier.picture import picture_svg
from staddle.dossier.placement_drawing import placement_svg
from staddle.estate.bookings import Booking
from tests.dossier.lettered import SVG, letters, outside, overlaps
from tests.dossier.reports import AT, GIB, estate, placement, problem, report

names = st.text(alphabet="abcdefghijklmnop-0123456789", min_size=1, max_size=70)
amounts = st.integers(min_value=0, max_value=6000)


@st.composite
def hosts(draw: st.DrawFn, name: str) -> HostElevation:
    """A host of up to 6 TiB, mostly without members, sometimes with several, overfull ones too."""
    stones = draw(st.lists(st.sampled_from(("first", "second", "never")), max_size=3))
    return HostElevation(
        name=f"{draw(names)}{name}",
        memory_bytes=draw(amounts) * GIB,
        reserved_bytes=draw(st.integers(0, 40)) * GIB,
        used_bytes=draw(amounts) * GIB,
        members=tuple(
            StoneElevation(
                member=f"{draw(names)}{name}{number}",
                memory_bytes=draw(amounts) * GIB,
                leads=leads,
                data=draw(st.booleans()),
            )
            for number, leads in enumerate(stones)
            if draw(st.integers(0, 3)) == 0
        ),
    )


@st.composite
def elevations(draw: st.DrawFn) -> Elevation:
    """Up to 3 sites with up to 6 racks of up to 10 hosts, up to 10 pools and 4 feeds."""
    sites = []
    for s in range(draw(st.integers(0, 3))):
        racks = tuple(
            RackElevation(
                name=f"{draw(names)}.{r}",
                hosts=tuple(draw(hosts(f".{s}.{r}.{h}")) for h in range(draw(st.integers(0, 10)))),
            )
            for r in range(draw(st.integers(0, 6)))
        )
        feeds = tuple(
            FeedElevation(name=draw(names), racks=tuple(rack.name for rack in racks if draw(st.booleans())))
            for _ in range(draw(st.integers(0, 4)))
        )
        pools = tuple(
            PoolElevation(
                name=f"{draw(names)}.{p}",
                capacity_bytes=draw(amounts) * 10**9,
                used_bytes=draw(amounts) * 10**9,
                ours_bytes=draw(st.sampled_from((0, 10**9, 10**13))),
                floor_percent=draw(st.sampled_from((0.0, 15.0, 100.0))),
                inside_host=draw(st.sampled_from(("", "host-1"))),
            )
            for p in range(draw(st.integers(0, 10)))
        )
        sites.append(SiteElevation(name=draw(names), racks=racks, pools=pools, feeds=feeds))
    return Elevation(sites=tuple(sites))


def _members(elevation: Elevation) -> list[str]:
    return [m.member for s in elevation.sites for r in s.racks for h in r.hosts for m in h.members]


def _drawing(cluster: str = "Ousemoor levels") -> str:
    return placement_svg(placement_drawing_data(estate(), problem(), placement()), cluster=cluster)


def test_no_two_texts_of_the_demos_drawing_overlap() -> None:
    boxes, across, high = letters(_drawing())
    assert len(boxes) > 50
    assert overlaps(boxes) == []
    assert outside(boxes, across, high) == []


def test_no_two_texts_of_the_picture_overlap() -> None:
    boxes, across, high = letters(picture_svg(report()))
    assert overlaps(boxes) == []
    assert outside(boxes, across, high) == []


@settings(max_examples=60, deadline=None)
@given(elevation=elevations())
def test_no_two_texts_overlap_whatever_the_estate(elevation: Elevation) -> None:
    boxes, across, high = letters(placement_svg(elevation, cluster="c"))
    assert overlaps(boxes) == []
    assert outside(boxes, across, high) == []


@settings(max_examples=60, deadline=None)
@given(elevation=elevations())
def test_what_is_left_out_is_counted_and_never_a_member(elevation: Elevation) -> None:
    shown = fitted(elevation)
    assert _members(shown) == _members(elevation)
    for before, after in zip(elevation.sites, shown.sites, strict=True):
        assert len(before.racks) == len(after.racks) + after.further_racks
        assert len(before.pools) == len(after.pools) + after.further_pools
        kept = {rack.name: rack for rack in after.racks}
        for rack in before.racks:
            if rack.name in kept:
                assert len(rack.hosts) == len(kept[rack.name].hosts) + kept[rack.name].further


def test_a_large_estate_keeps_the_racks_with_members_and_says_how_many_it_leaves_out() -> None:
    def rack(number: int, members: tuple[StoneElevation, ...]) -> RackElevation:
        host = HostElevation(
            name=f"h{number}", memory_bytes=GIB, reserved_bytes=0, used_bytes=0, members=members
        )
        others = tuple(replace(host, name=f"h{number}-{i}", members=()) for i in range(20))
        return RackElevation(name=f"R{number}", hosts=(*others, host))

    stone = StoneElevation(member="log-1", memory_bytes=GIB)
    racks = tuple(rack(n, (stone,) if n == 33 else ()) for n in range(40))
    drawing = placement_svg(Elevation(sites=(SiteElevation(name="Tollgate", racks=racks),)), cluster="c")
    texts = [box.text for box in letters(drawing)[0]]
    assert "R33" in texts
    assert "log-1" in texts
    assert "not drawn: 38 more racks" in texts
    assert "13 more hosts" in texts


def test_the_drawn_amounts_are_the_sums_of_the_estates_tables() -> None:
    # Independent of the room's own computation: guests added up by hand, for every host.
    rows = estate()
    guests: dict[str, int] = defaultdict(int)
    for guest in rows.guests:
        guests[guest.host] += guest.memory_bytes
    drawn = placement_drawing_data(rows, problem(), placement())
    boxes = {host.name: host for site in drawn.sites for rack in site.racks for host in rack.hosts}
    assert {name: box.used_bytes for name, box in boxes.items()} == {
        h.name: guests[h.name] for h in rows.hosts
    }
    assert {name: box.ours_bytes for name, box in boxes.items() if box.members} == {
        "om-h03": 16 * GIB,
        "om-h04": 16 * GIB,
        "om-h07": 16 * GIB,
    }
    pools = {pool.name: pool for site in drawn.sites for pool in site.pools}
    assert {name: p.used_bytes for name, p in pools.items()} == {p.name: p.used_bytes for p in rows.pools}
    assert {p.ours_bytes for p in pools.values()} == {0, 176 * 10**9}
    assert pools["om-local-08"].inside_host == "om-h08"


def test_room_booked_by_another_job_is_drawn_as_taken() -> None:
    booking = Booking(
        booking_id="b1",
        job="another",
        rollout="r1",
        host="tg-h01",
        pool="tg-store-1",
        memory_bytes=8 * GIB,
        vcpus=2,
        disk_bytes=50 * 10**9,
        made_by="A. Tollemere",
        made_at=AT,
        until=AT + timedelta(days=1),
    )
    rows = estate()
    with_it = placement_drawing_data(rows, problem(bookings=(booking,)), placement()).sites[1]
    without = placement_drawing_data(rows, problem(), placement()).sites[1]
    assert with_it.racks[0].hosts[0].used_bytes - without.racks[0].hosts[0].used_bytes == 8 * GIB
    assert with_it.pools[0].used_bytes - without.pools[0].used_bytes == 50 * 10**9


def test_feeds_name_the_racks_that_hang_on_them() -> None:
    site = placement_drawing_data(estate(), problem(), None).sites[0]
    assert [(feed.name, feed.racks) for feed in site.feeds] == [
        ("OM-feed-A", ("OM-R1",)),
        ("OM-feed-B", ("OM-R2",)),
    ]


def test_a_screen_reader_hears_each_host_with_its_member() -> None:
    root = etree.fromstring(_drawing().encode())
    titles = [title.text for title in root.iter(f"{SVG}title")]
    # 384 GiB less 24 kept, 228 of guests, 16 of ours (by hand, from the estate's tables).
    assert (
        "host om-h03: 384 GiB of memory; 24 GiB kept by the host, 228 GiB taken by others, 116 GiB free. "
        "Member log-1 stands here: leader, 16 GiB." in titles
    )


def test_markup_in_names_stays_text() -> None:
    evil = "</title><script>alert(1)</script>&amp;\"'><![CDATA["
    elevation = Elevation(
        sites=(
            SiteElevation(
                name=evil,
                racks=(
                    RackElevation(
                        name=evil,
                        hosts=(HostElevation(name=evil, memory_bytes=GIB, reserved_bytes=0, used_bytes=0),),
                    ),
                ),
                feeds=(FeedElevation(name=evil, racks=(evil,)),),
            ),
        )
    )
    root = etree.fromstring(placement_svg(elevation, cluster=evil).encode())
    assert {etree.QName(element).localname for element in root.iter("*")} <= {
        "svg", "title", "desc", "defs", "pattern", "rect", "line", "path", "circle", "text", "g",
    }  # fmt: skip
    assert any(title.text == f"rack {evil}" for title in root.iter(f"{SVG}title"))
    assert root.attrib["aria-label"] == f"Where the members of {evil} stand"


def test_the_same_placement_gives_the_same_bytes() -> None:
    assert _drawing() == _drawing()
