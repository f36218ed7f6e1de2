"""place: finding, settling, keeping and moving as little as needed, on the demo's estate and through the job's verbs."""

from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from demo.ousemoor_estate import demo_estate
from staddle.estate.model import Estate
from staddle.estate.writing import write_estate
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import gather
from staddle.jobs.place import Kept, PlaceReport, found_placement, place, settle
from staddle.kernel import InputRefused, NotAllowed
from staddle.placement.model import BestShown, NoneExists
from staddle.placement.paper import read_placement
from staddle.placement.verify import broken_rules
from tests.cli.demo_job import demo_job

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)


def job_in(root: Path) -> JobFolder:
    """The demo's job."""
    folder = JobFolder(root=demo_job(root))
    folder.make()
    return folder


def estate(folder: JobFolder, found: Estate) -> None:
    """Another survey of the estate."""
    write_estate(found, folder.root.parent / "estate")


def hosts(report: PlaceReport) -> list[str]:
    """Host by host in the order of the members."""
    placement = found_placement(report.outcome)
    assert placement is not None
    return [seat.host for seat in placement.seats]


@pytest.fixture(scope="module")
def settled(tmp_path_factory: pytest.TempPathFactory) -> JobFolder:
    """The demo's job with its best placement settled. Nobody changes it."""
    folder = job_in(tmp_path_factory.mktemp("settled"))
    settle(place(folder, NOW), by="R. Fenwold", on=date(2026, 11, 25))
    return folder


def settled_copy(settled: JobFolder, root: Path) -> JobFolder:
    """A job of one's own with the same settled placement."""
    folder = job_in(root)
    folder.placement.write_text(settled.placement.read_text(encoding="utf-8"), encoding="utf-8")
    return folder


def test_the_first_search_is_best_shown_with_one_member_in_each_rack(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    report = place(folder, NOW)
    assert isinstance(report.outcome, BestShown)
    found = demo_estate(surveyed=date(2026, 11, 20))
    rack = {host.name: host.domains[0] for host in found.hosts}
    assert sorted(rack[host] for host in hosts(report)) == ["OM-R1", "OM-R2", "OM-R3"]
    assert not broken_rules(report.problem, report.outcome.placement.seats)
    assert not folder.placement.exists()  # looking settles nothing


def test_what_is_settled_reads_back_as_it_was_found(settled: JobFolder) -> None:
    paper = read_placement(settled.placement.read_text(encoding="utf-8"), "placement.yaml")
    report = place(settled, NOW, anew=True)
    placement = found_placement(report.outcome)
    assert placement is not None
    assert paper.seats == placement.seats
    assert (paper.settled_by, paper.settled_on) == ("R. Fenwold", date(2026, 11, 25))
    assert paper.problem_digest == report.problem_digest
    assert gather(settled, NOW).valid_seats() == paper.seats


def test_a_settled_placement_is_kept_without_a_search(settled: JobFolder) -> None:
    said: list[str] = []
    report = place(settled, NOW, progress=said.append)
    assert (type(report.outcome), said) == (Kept, [])


def test_anew_searches_although_it_is_valid(settled: JobFolder) -> None:
    said: list[str] = []
    report = place(settled, NOW, anew=True, progress=said.append)
    assert isinstance(report.outcome, BestShown)
    assert said
    # With nothing to gain it moves nothing.
    assert dict(report.outcome.placement.levels)["movement"] == 0


def test_when_its_host_is_gone_only_that_member_moves(settled: JobFolder, tmp_path: Path) -> None:
    folder = settled_copy(settled, tmp_path)
    before = {s.member: s for s in read_placement(folder.placement.read_text(encoding="utf-8"), "").seats}
    gone = before["levels-2"].host
    found = demo_estate(surveyed=date(2026, 11, 25))
    estate(
        folder,
        replace(
            found,
            hosts=tuple(h for h in found.hosts if h.name != gone),
            guests=tuple(g for g in found.guests if g.host != gone),
        ),
    )
    assert gather(folder, NOW).valid_seats() is None
    report = place(folder, NOW)
    assert isinstance(report.outcome, BestShown)
    placement = report.outcome.placement
    after = {seat.member: seat for seat in placement.seats}
    assert [m for m in before if before[m].host != after[m].host] == ["levels-2"]
    assert dict(placement.levels)["movement"] == 1
    assert f"it was settled on {gone}" in dict(placement.reasons)["levels-2"]
    # Settled anew, it is kept from then on.
    settle(report, by="R. Fenwold", on=date(2026, 11, 26))
    assert isinstance(place(folder, NOW).outcome, Kept)


def test_when_its_host_has_filled_up_the_settled_one_is_no_longer_kept(
    settled: JobFolder, tmp_path: Path
) -> None:
    folder = settled_copy(settled, tmp_path)
    first = read_placement(folder.placement.read_text(encoding="utf-8"), "").seats[0]
    found = demo_estate(surveyed=date(2026, 11, 25))
    host = next(h for h in found.hosts if h.name == first.host)
    here = next(g for g in found.guests if g.host == host.name)
    left = host.memory_bytes - host.reserved_memory_bytes
    left -= sum(g.memory_bytes for g in found.guests if g.host == host.name)
    newcomer = replace(here, name="om-newcomer-01", memory_bytes=left - (8 << 30), vcpus=1, apart_group="")
    estate(folder, replace(found, guests=(*found.guests, newcomer)))
    report = place(folder, NOW)
    assert isinstance(report.outcome, BestShown)
    after = report.outcome.placement.get_seat("levels-1")
    assert after.host != first.host
    assert dict(report.outcome.placement.levels)["movement"] == 1


def test_where_none_exists_nothing_can_be_settled(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    found = demo_estate(surveyed=date(2026, 11, 25))
    # A single rack is left at the site that the members are bound to, and they are to stand apart by rack.
    racks = {"OM-R1", "TG-R1", "TG-R2", "FL-R1"}
    kept = tuple(host for host in found.hosts if racks & set(host.domains))
    names = {host.name for host in kept}
    estate(
        folder,
        replace(
            found,
            hosts=kept,
            pools=tuple(p for p in found.pools if p.name != "om-local-08"),
            guests=tuple(g for g in found.guests if g.host in names),
        ),
    )
    report = place(folder, NOW)
    assert isinstance(report.outcome, NoneExists)
    assert report.outcome.conflict
    with pytest.raises(NotAllowed, match="there is no placement to settle"):
        settle(report, by="R. Fenwold", on=date(2026, 11, 25))
    assert not folder.placement.exists()


def test_a_damaged_placement_is_told_with_its_place(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    folder.placement.write_text("settled_by: x\nseats: [", encoding="utf-8")
    with pytest.raises(InputRefused) as refused:
        place(folder, NOW)
    assert refused.value.faults[0].where.startswith("placement.yaml:")


def test_a_rule_about_an_unknown_kind_is_told_with_its_line(tmp_path: Path) -> None:
    folder = job_in(tmp_path)
    text = folder.design.read_text(encoding="utf-8")
    folder.design.write_text(
        text.replace(
            "apart: [host, rack, pool]", "apart:\n  - host\n  - deputy by rom\n  - votes by sit\n  - 2 a rak"
        ),
        encoding="utf-8",
    )
    line = 1 + text[: text.index("apart:")].count("\n")
    with pytest.raises(InputRefused) as refused:
        place(folder, NOW)
    told = [(fault.what, fault.where) for fault in refused.value.faults]
    assert told == [
        ('"deputy by rom": there is no kind of domain "rom"', f"design.yaml:{line + 2}:5"),
        ('"votes by sit": there is no kind of domain "sit"', f"design.yaml:{line + 3}:5"),
        ('"2 a rak": there is no kind of domain "rak"', f"design.yaml:{line + 4}:5"),
    ]


def test_another_sentence_of_survive_is_another_question(tmp_path: Path, settled: JobFolder) -> None:
    folder = settled_copy(settled, tmp_path)
    before = place(folder, NOW)
    text = folder.design.read_text(encoding="utf-8")
    folder.design.write_text(text.replace("  - any 1 rack\n", ""), encoding="utf-8")
    after = place(folder, NOW)
    assert isinstance(before.outcome, Kept)
    assert isinstance(after.outcome, Kept)
    assert before.problem_digest != after.problem_digest
