"""availability: from the demo's job and its tables to the cluster that is summed; rates.yaml; the drawing's file."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from lxml import etree

from demo.ousemoor_estate import demo_estate
from staddle.estate.model import Estate
from staddle.estate.writing import write_estate
from staddle.jobs.availability import (
    AvailabilityReport,
    availability,
    draw_availability_sheet,
    rates_in,
    start_rates,
)
from staddle.jobs.folder import JobFolder
from staddle.jobs.place import place, settle
from staddle.kernel import InputRefused, NotAllowed, pretty_json
from staddle.survival.cluster import Standing
from staddle.survival.rates import Quantity, starting_rates
from tests.cli.demo_job import demo_job

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def job_in(root: Path, estate: Estate | None = None) -> JobFolder:
    """The demo's job, on another estate if one is given."""
    folder = JobFolder(root=demo_job(root))
    folder.make()
    if estate is not None:
        write_estate(estate, root / "estate")
    return folder


def members(report: AvailabilityReport) -> dict[str, Standing]:
    return {one.member: one for one in report.availability.cluster.members}


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> AvailabilityReport:
    """The demo's availability before anything is settled."""
    return availability(job_in(tmp_path_factory.mktemp("found")), NOW)


def test_members_stand_on_host_pool_and_all_above_them(found: AvailabilityReport) -> None:
    # The demo's tables: om-h01 hangs in rack 1 on feed A; its pool lies in the array of the same rack.
    assert dict.fromkeys(members(found)["levels-1"].domains) == dict.fromkeys(
        [
            ("host", "om-h01"),
            ("rack", "OM-R1"),
            ("site", "Ousemoor"),
            ("feed", "OM-feed-A"),
            ("pool", "om-store-1"),
            ("array", "OM-array-1"),
        ]
    )
    assert [one.leads for one in found.availability.cluster.members] == ["first", "second", "never"]
    assert not found.settled


def test_a_member_outlives_what_leaves_its_disks_and_another_host_with_room(
    found: AvailabilityReport,
) -> None:
    # Host and feed of the first member may go: hosts of rack 3 reach every pool. Its rack holds its array, so it may not.
    assert members(found)["levels-1"].outlives == {("host", "om-h01"), ("feed", "OM-feed-A")}


def test_nothing_is_outlived_where_no_other_host_reaches_the_pools(tmp_path: Path) -> None:
    estate = demo_estate(surveyed=date(2026, 11, 20))
    own = {"om-h01": "om-store-1", "om-h04": "om-store-2", "om-h07": "om-store-3"}
    hosts = tuple(replace(h, pools=(own[h.name],) if h.name in own else ()) for h in estate.hosts)
    pools = {host.name for host in hosts if host.pools}
    guests = tuple(g for g in estate.guests if g.host in pools and g.pool == own[g.host])
    report = availability(job_in(tmp_path, replace(estate, hosts=hosts, guests=guests)), NOW)
    assert [one.outlives for one in report.availability.cluster.members] == [frozenset()] * 3


def test_a_settled_placement_is_told_as_that(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    settle(place(folder, NOW), by="R. Fenwold", on=date(2026, 11, 25))
    assert availability(folder, NOW).settled


def test_the_same_job_gives_the_same_answer(found: AvailabilityReport, tmp_path: Path) -> None:
    again = availability(job_in(tmp_path), NOW)
    assert pretty_json(again) == pretty_json(found)


def test_what_the_estate_has_for_these_members_ends_at_their_site(found: AvailabilityReport) -> None:
    # The design pins them to Ousemoor: the two other sites are not there for them, a third rack is used already.
    titles = {one.what for one in found.availability.improvements}
    assert "a second site" in titles
    assert not {title for title in titles if title.endswith("which the estate has")}
    assert found.availability.apart == found.availability.share


def test_where_there_is_no_placement_there_is_no_availability(tmp_path: Path) -> None:
    estate = demo_estate(surveyed=date(2026, 11, 20))
    two_racks = tuple(host for host in estate.hosts if "OM-R3" not in host.domains)
    names = {host.name for host in two_racks}
    pools = tuple(pool for pool in estate.pools if pool.name != "om-local-08")
    left = {pool.name for pool in pools}
    hosts = tuple(replace(h, pools=tuple(p for p in h.pools if p in left)) for h in two_racks)
    guests = tuple(g for g in estate.guests if g.host in names and g.pool in left)
    folder = job_in(tmp_path, replace(estate, hosts=hosts, guests=guests, pools=pools))
    with pytest.raises(NotAllowed, match="there is no placement, so nothing stands anywhere"):
        availability(folder, NOW)


def test_rates_of_the_job_are_taken_and_named(found: AvailabilityReport, tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    folder.rates.write_text(
        '- {what: failures, of: site Ousemoor, value: 0 in 12 years, origin: measured, source: "log of the duty desk"}\n',
        encoding="utf-8",
    )
    report = availability(folder, NOW)
    assert (found.rates_file, report.rates_file) == ("", "rates.yaml")
    row = next(one for one in report.availability.rates if one.about == "site Ousemoor")
    assert (row.written, row.place) == ("0 in 12 years", "rates.yaml:1:46")
    assert report.availability.share.best < found.availability.share.best


def test_the_demos_own_rates_are_about_its_estate(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    demo = Path(__file__).parents[2] / "demo" / "levels" / "rates.yaml"
    folder.rates.write_text(demo.read_text(encoding="utf-8"), encoding="utf-8")
    used = availability(folder, NOW).availability.rates
    assert [row.origin for row in used if row.place] == ["measured", "maker", "measured", "measured"]


def test_a_domain_that_the_estate_lacks_is_refused_with_its_place(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    folder.rates.write_text(
        "- {what: repair, of: rack OM-R9, value: 2 h, origin: common practice}\n", encoding="utf-8"
    )
    with pytest.raises(InputRefused) as caught:
        availability(folder, NOW)
    assert (caught.value.faults[0].what, caught.value.faults[0].where) == (
        'the estate has no rack "OM-R9"',
        "rates.yaml:1:22",
    )


def test_a_file_that_is_not_utf_8_is_refused(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    folder.rates.write_bytes(b"- \xff")
    with pytest.raises(InputRefused, match="byte 3 of the file is not UTF-8"):
        rates_in(folder, set())


def test_the_starter_is_written_once_and_changes_nothing(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    assert start_rates(folder) == "rates.yaml"
    assert rates_in(folder, set()).rows == starting_rates().rows
    assert rates_in(folder, set()).get(Quantity.DETECTION, "").place == ""
    before = folder.rates.read_bytes()
    with pytest.raises(NotAllowed, match=r"there is a rates\.yaml already"):
        start_rates(folder)
    assert folder.rates.read_bytes() == before


def test_the_drawing_is_a_sheet_with_its_title_block(found: AvailabilityReport, tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    assert draw_availability_sheet(folder, found, NOW) == "records/availability.svg"
    root = etree.parse(folder.records / "availability.svg").getroot()
    texts = {element.text for element in root.iter("{http://www.w3.org/2000/svg}text")}
    assert {
        "Availability",
        "Ousemoor levels",
        "levels",
        "site Ousemoor, under levels-1, levels-2, levels-3",
    } <= texts
