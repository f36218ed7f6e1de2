"""Exports to tables: the estate that comes out is the one that went in; nothing is overwritten or settled by itself."""

import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from openpyxl import Workbook

from demo.ousemoor_estate import demo_estate
from staddle.cli.main import run
from staddle.estate.columns import TABLES
from staddle.estate.difference import Change
from staddle.estate.mapfile import read_maps
from staddle.estate.tables import read_estate
from staddle.jobs.estate_take import TakenTable, TakeReport, take_tables
from staddle.kernel import InputRefused

DAY = date(2026, 11, 2)
NAMES = ("domains", "hosts", "pools", "networks", "guests")
# Their headings for ours, where they differ.
THEIRS = {
    "hosts": {"name": "Server", "memory": "RAM (GiB)", "domains": "Rack"},
    "pools": {"name": "Volume", "capacity": "Total size"},
    "guests": {"name": "Virtual machine", "host": "Runs on", "vcpus": "CPU count"},
}


def exports(folder: Path) -> list[tuple[Path, str]]:
    """The demo's estate as others would export it: two as workbooks, three with semicolons and commas in lists."""
    estate = demo_estate(surveyed=DAY)
    made = []
    for table, name in zip(TABLES, NAMES, strict=True):
        heads = [THEIRS.get(name, {}).get(c.heading, c.heading) for c in table.columns]
        rows: list[list[str | int]] = []
        for value in getattr(estate, name):
            texts = [c.write(getattr(value, c.field)).replace("; ", ", ") for c in table.columns]
            rows.append([*texts])
            if name == "hosts":
                rows[-1][3] = value.memory_bytes // 2**30
        path = folder / f"{name}.{'xlsx' if name in ('hosts', 'guests') else 'csv'}"
        if path.suffix == ".xlsx":
            book = Workbook()
            sheet = book.active
            assert sheet is not None
            sheet.append([f"All {name}"])
            sheet.append([*heads, "Serial"])
            for row in rows:
                sheet.append([*row, "S1"])
            book.save(path)
        else:
            with path.open("w", encoding="cp1252", newline="") as file:
                csv.writer(file, delimiter=";").writerows([heads, *rows])
        made.append((path, name))
    return made


def take(
    folder: Path,
    asked: list[tuple[Path, str]],
    *,
    settle: bool = True,
    replace: bool = False,
    agreed: bool = True,
) -> TakeReport:
    def agree(_: Sequence[TakenTable], __: Sequence[Change]) -> bool:
        return agreed

    return take_tables(
        folder, asked, settle=settle, replace=replace, surveyed=DAY, surveyed_by="R. Fenwold", agree=agree
    )


def test_what_is_taken_reads_back_as_the_same_estate(tmp_path: Path) -> None:
    folder = tmp_path / "ousemoor"
    report = take(folder, exports(tmp_path))
    assert [table.questions for table in report.tables] == [()] * 5
    assert report.written
    assert report.missing == ()
    wanted = demo_estate(surveyed=DAY)
    # Links between sites are in no export: they are written by hand.
    assert read_estate(folder) == replace(wanted, name="ousemoor", surveyed_by="R. Fenwold", links=())
    assert (folder / "hosts.csv").read_text(encoding="utf-8").splitlines()[0].endswith(",Serial")


def test_first_a_map_is_proposed_and_nothing_written(tmp_path: Path) -> None:
    folder = tmp_path / "ousemoor"
    asked = exports(tmp_path)
    report = take(folder, asked, settle=False)
    assert (report.settled, report.written) == (False, False)
    assert [path.name for path in folder.iterdir()] == ["columns.yaml"]
    assert [table.is_proposed for table in report.tables] == [True] * 5
    kept = read_maps(folder)
    assert {
        name: [(s.column, s.headings, s.unit, s.separator) for s in m.sources] for name, m in kept.items()
    } == {
        t.table: [(s.column, s.headings, s.unit, s.separator) for s in t.columns.sources]
        for t in report.tables
    }
    assert take(folder, asked).written
    assert all(found.settled for found in read_maps(folder).values())


def test_a_table_that_is_there_is_replaced_only_when_told_and_agreed(tmp_path: Path) -> None:
    folder = tmp_path / "ousemoor"
    asked = exports(tmp_path)
    take(folder, asked)
    pools = [entry for entry in asked if entry[1] == "pools"]
    before = (folder / "pools.csv").read_bytes()
    pools[0][0].write_bytes(pools[0][0].read_bytes().replace(b";15 %", b";20 %", 1))
    with pytest.raises(InputRefused, match="the table of pools is there already"):
        take(folder, pools)
    report = take(folder, pools, replace=True, agreed=False)
    assert not report.written
    assert (folder / "pools.csv").read_bytes() == before
    report = take(folder, pools, replace=True)
    assert [change.cells()[2:] for change in report.tables[0].changes] == [("floor", "15 %", "20 %")]
    assert read_estate(folder).pools[0].floor_percent == 20


def test_every_bad_cell_is_told_at_its_place_and_nothing_is_written(tmp_path: Path) -> None:
    path = tmp_path / "pools.csv"
    path.write_text(
        "name,domains,capacity,used,promised,floor\n"
        "p1,,20 TB,21 TB,1 TB,15 %\np2,,20,1 TB,1 TB,\np1,,20 TB,1 TB,1 TB,15 %\nTotal,,60 TB,1 TB,1 TB,15 %\n"
    )
    folder = tmp_path / "ousemoor"
    folder.mkdir()
    columns = "".join(
        f"    {name}: {{heading: {name}{', unit: cell' if name in ('capacity', 'used', 'promised') else ''}}}\n"
        for name in ("name", "domains", "capacity", "used", "promised", "floor")
    )
    (folder / "columns.yaml").write_text(f"pools:\n  settled: yes\n  columns:\n{columns}")
    with pytest.raises(InputRefused) as caught:
        take(folder, [(path, "pools")])
    assert [(fault.where.removeprefix(f"{path}:"), fault.what) for fault in caught.value.faults] == [
        ("2:used", 'pool "p1", used: 21 TB are written in a capacity of 20 TB'),
        ("3:capacity", 'pool "p2", capacity: "20" has no unit, and its heading names none'),
        ("3:floor", 'pool "p2", floor: the cell is blank'),
        ("5:name", 'pool "Total", name: "Total" looks like a row of sums, not like a pool'),
        ("4:name", 'there are two pools "p1"'),
    ]
    assert not (folder / "pools.csv").exists()


def test_the_faults_of_a_map_are_told_together(tmp_path: Path) -> None:
    (tmp_path / "columns.yaml").write_text(
        "hots: {}\npools:\n  settled: maybe\n  columns:\n    nam: {heading: a}\n    used: {heading: a, unit: GiBB}\n"
        "    floor: {decimal: x}\n"
    )
    with pytest.raises(InputRefused) as caught:
        read_maps(tmp_path)
    assert [fault.what for fault in caught.value.faults] == [
        'there is no table "hots"',
        '"nam" is no column of pools',
        '"GiBB" is not a unit',
        "floor needs a heading of theirs, or one value",
        'decimal: "x" is no decimal mark',
        'settled: "maybe" is neither yes nor no',
    ]


def test_the_command_says_each_outcome(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(tmp_path / "ousemoor")
    asked = exports(tmp_path)
    words = [word for path, name in asked for word in ("--take", str(path), "--as", name)]

    def outcome(*more: str) -> tuple[int, str]:
        code = run(["estate", folder, *more, "--json"])
        return code, json.loads(capsys.readouterr().out)["outcome"]

    assert outcome("--form") == (0, "form written")
    assert outcome(*words) == (0, "proposed")
    who = ("--survey-date", "2026-11-02", "--surveyed-by", "R. Fenwold")
    assert outcome(*words, "--settle", *who) == (0, "taken")
    assert outcome("--against", folder) == (0, "compared")
    assert outcome(*words) == (1, "error")
    assert outcome(*words, "--form") == (1, "error")
    assert outcome("--replace") == (1, "error")
    assert run(["estate", folder, *words, "--replace", "--yes"]) == 0
    assert "0 differences" in capsys.readouterr().err
