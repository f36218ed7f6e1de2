"""The derived table of domains: written with the tables that name it, made anew, and left alone once a person wrote one."""

import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import pytest

from staddle.cli.main import run
from staddle.estate.difference import Change
from staddle.estate.mapfile import read_maps
from staddle.estate.model import Domain
from staddle.estate.tables import read_estate
from staddle.jobs.estate_take import TakeReport, take_tables
from staddle.kernel import InputRefused

HOSTS = (
    "Server,Site,Rack,Feed,Cores,Memory,Reserved memory,vCPU ratio,Segments,Volumes\n"
    "h1,Ousemoor,R1,F1,8,64 GiB,4 GiB,4,om-a,p1\nh2,Ousemoor,R2,F2,8,64 GiB,4 GiB,4,om-a,p1\n"
)
POOLS = "Pool,Site,Rack,Array,Capacity,Used,Promised,Floor\np1,Ousemoor,R2,A1,20 TB,1 TB,1 TB,15 %\n"
NETWORKS = "Network,Prefix\nom-a,192.0.2.0/25\n"
GUESTS = "Guest,Host,Memory (GiB),vCPUs,Pool,Disk\n"
ALL = {"hosts": HOSTS, "pools": POOLS, "networks": NETWORKS, "guests": GUESTS}

DERIVED = (
    Domain(name="Ousemoor", kind="site"),
    Domain(name="R1", kind="rack", inside="Ousemoor"),
    Domain(name="R2", kind="rack", inside="Ousemoor"),
    Domain(name="F1", kind="feed", inside="Ousemoor"),
    Domain(name="F2", kind="feed", inside="Ousemoor"),
    Domain(name="A1", kind="array", inside="R2"),
)


def take(
    tmp_path: Path,
    texts: dict[str, str],
    *answers: str,
    replace: bool = False,
    seen: list[Change] | None = None,
) -> TakeReport:
    asked = []
    for name, text in texts.items():
        path = tmp_path / f"{name}-export.csv"
        path.write_text(text, encoding="utf-8")
        asked.append((path, name))

    def agree(_: Sequence[object], changes: Sequence[Change]) -> bool:
        if seen is not None:
            seen.extend(changes)
        return True

    return take_tables(
        tmp_path / "ousemoor",
        asked,
        settle=True,
        replace=replace,
        surveyed=date(2026, 11, 2),
        surveyed_by="R. Fenwold",
        agree=agree,
        answers=answers,
    )


def test_nobody_writes_the_table_of_domains(tmp_path: Path) -> None:
    report = take(tmp_path, ALL)
    assert report.written
    assert report.missing == ()
    estate = read_estate(tmp_path / "ousemoor")
    assert estate.domains == DERIVED
    assert [host.domains for host in estate.hosts] == [("R1", "F1"), ("R2", "F2")]
    assert estate.pools[0].domains == ("A1",)
    assert read_maps(tmp_path / "ousemoor")["domains"].derived == ("hosts", "pools")


def test_it_is_made_anew_and_what_it_loses_is_shown_first(tmp_path: Path) -> None:
    take(tmp_path, ALL)
    moved = HOSTS.replace("h1,Ousemoor,R1", "h1,Ousemoor,R3")
    with pytest.raises(InputRefused, match="domains is there already"):
        take(tmp_path, {"hosts": moved})
    seen: list[Change] = []
    take(tmp_path, {"hosts": moved}, replace=True, seen=seen)
    assert [change.cells()[:2] for change in seen] == [("domain gone", "R1"), ("domain added", "R3")]
    estate = read_estate(tmp_path / "ousemoor")
    assert {domain.name for domain in estate.domains} == {"Ousemoor", "R2", "R3", "F1", "F2", "A1"}
    assert estate.pools[0].domains == ("A1",)  # taken before, and still there


def test_a_table_that_was_taken_is_kept(tmp_path: Path) -> None:
    domains = "name,kind,inside\nOusemoor,site,\nR1,rack,Ousemoor\nR2,rack,Ousemoor\nF1,feed,\nF2,feed,\nA1,array,R2\n"
    report = take(tmp_path, {**ALL, "domains": domains})
    assert report.derived is None
    folder = tmp_path / "ousemoor"
    written = (folder / "domains.csv").read_bytes()
    moved = HOSTS.replace("h1,Ousemoor,R1", "h1,Ousemoor,R3")
    with pytest.raises(InputRefused, match='there is no domain "R3"'):
        take(tmp_path, {"hosts": moved}, replace=True)
    assert (folder / "domains.csv").read_bytes() == written
    assert not read_maps(folder)["domains"].derived


def test_a_derived_table_becomes_a_persons_own(tmp_path: Path) -> None:
    folder = tmp_path / "ousemoor"
    take(tmp_path, ALL)
    own = (folder / "domains.csv").read_text(encoding="utf-8") + "P1,switch,Ousemoor\n"
    take(tmp_path, {"domains": own}, replace=True)
    assert read_maps(folder)["domains"].derived == ()
    assert (folder / "columns.yaml").read_text(encoding="utf-8").count("domains:\n") == 1
    take(tmp_path, {"pools": POOLS}, replace=True)
    assert "P1" in {domain.name for domain in read_estate(folder).domains}


def test_two_feeds_are_none_with_a_persons_own_table_too(tmp_path: Path) -> None:
    domains = "name,kind,inside\nOusemoor,site,\nF1,feed,\nF2,feed,\nR1,rack,Ousemoor\nR2,rack,Ousemoor\nA1,array,\n"
    hosts = HOSTS.replace("Feed,", "Feed A,Feed B,").replace("F1,", "F1,F2,").replace("R2,F2,", "R2,F2,F2,")
    take(tmp_path, {**ALL, "hosts": hosts, "domains": domains})
    found = [set(host.domains) for host in read_estate(tmp_path / "ousemoor").hosts]
    assert found == [{"Ousemoor", "R1"}, {"Ousemoor", "R2", "F2"}]


def test_contradictions_stop_the_tables(tmp_path: Path) -> None:
    wrong = HOSTS.replace("h2,Ousemoor,R2", "h2,Tollgate,R1")
    with pytest.raises(InputRefused, match='the rack "R1" stands in the site "Tollgate"') as caught:
        take(tmp_path, {**ALL, "hosts": wrong})
    assert any(fault.where.endswith("hosts-export.csv:3:Rack") for fault in caught.value.faults)
    assert not (tmp_path / "ousemoor" / "hosts.csv").exists()


def test_the_command_shows_what_it_derives(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "servers.csv"
    path.write_text(HOSTS, encoding="utf-8")
    words = ["estate", str(tmp_path / "ousemoor"), "--take", str(path), "--as", "hosts"]
    assert run(words) == 0
    assert "domains, derived from hosts: 5" in capsys.readouterr().out
    assert run([*words, "--json"]) == 0
    derived = json.loads(capsys.readouterr().out)["data"]["derived"]
    assert derived["tables"] == ["hosts"]
    assert derived["domains"][1] == {"name": "R1", "kind": "rack", "inside": "Ousemoor"}
