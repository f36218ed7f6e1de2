"""Open points of a map, answered when asked or given beforehand: kept at once, all faults together, nothing half written."""

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from staddle.cli.main import run
from staddle.estate.mapfile import read_maps
from staddle.estate.openpoints import OpenPoint
from staddle.estate.sources import ColumnSource
from staddle.jobs.estate_map import Ask
from staddle.jobs.estate_take import TakeReport, take_tables
from staddle.kernel import InputRefused

EXPORT = "Server;Site;Cores;RAM (GB);Segments;Volumes\nh1;r1;32;384;;\nh2;r2;16;256;;\n"


@pytest.fixture
def export(tmp_path: Path) -> Path:
    path = tmp_path / "servers.csv"
    path.write_text(EXPORT, encoding="utf-8")
    return path


def take(folder: Path, export: Path, *answers: str, ask: Ask, settle: bool = False) -> TakeReport:
    return take_tables(
        folder,
        [(export, "hosts")],
        settle=settle,
        replace=False,
        surveyed=date(2026, 11, 2),
        surveyed_by="R. Fenwold",
        agree=lambda *_: True,
        answers=answers,
        ask=ask,
    )


def with_proposals(asked: list[str]) -> Ask:
    def ask(point: OpenPoint, answered: Callable[[str], ColumnSource]) -> ColumnSource | None:
        asked.append(point.name)
        return answered(point.proposal.text)

    return ask


def never(point: OpenPoint, _: Callable[[str], ColumnSource]) -> ColumnSource | None:
    raise AssertionError(f"{point.name} was asked")


def test_each_open_point_is_asked_once_and_kept_for_next_time(tmp_path: Path, export: Path) -> None:
    folder, asked = tmp_path / "ousemoor", list[str]()
    report = take(folder, export, ask=with_proposals(asked))
    assert asked == ["hosts.memory.unit", "hosts.reserved_memory", "hosts.vcpu_per_core"]
    assert report.tables[0].questions == ()
    kept = {source.column: source for source in read_maps(folder)["hosts"].sources}
    assert (kept["memory"].unit, kept["reserved_memory"].value, kept["vcpu_per_core"].value) == (
        "GiB",
        "10 %",
        "4",
    )
    assert take(folder, export, ask=never).tables[0].questions == ()


def test_what_was_answered_stays_when_the_asking_is_broken_off(tmp_path: Path, export: Path) -> None:
    folder, asked = tmp_path / "ousemoor", list[str]()

    def breaks(point: OpenPoint, answered: Callable[[str], ColumnSource]) -> ColumnSource | None:
        if asked:
            raise KeyboardInterrupt
        return with_proposals(asked)(point, answered)

    with pytest.raises(KeyboardInterrupt):
        take(folder, export, ask=breaks)
    report = take(folder, export, ask=lambda *_: None)
    assert [point.name for point in report.tables[0].questions] == [
        "hosts.reserved_memory",
        "hosts.vcpu_per_core",
    ]


def test_a_point_that_is_left_open_is_not_asked_again_in_the_same_run(tmp_path: Path, export: Path) -> None:
    asked: list[str] = []

    def leaves(point: OpenPoint, _: Callable[[str], ColumnSource]) -> None:
        asked.append(point.name)

    report = take(tmp_path / "ousemoor", export, ask=leaves, settle=True)
    assert asked == ["hosts.memory.unit", "hosts.reserved_memory", "hosts.vcpu_per_core"]
    assert not report.settled


def test_given_answers_need_nobody_and_can_be_given_again(tmp_path: Path, export: Path) -> None:
    folder = tmp_path / "ousemoor"
    answers = ("hosts.memory=GiB", "hosts.reserved_memory=16 GiB", "hosts.vcpu_per_core=4")
    for _ in range(2):
        assert take(folder, export, *answers, ask=never).tables[0].questions == ()
    take(
        folder, export, "hosts.cores=RAM (GB)", ask=never
    )  # a proposal, or an answer, is corrected in the same way
    kept = {source.column: source for source in read_maps(folder)["hosts"].sources}
    assert kept["cores"].headings == ("RAM (GB)",)
    assert kept["memory"].unit == "GiB"


def test_the_faults_of_given_answers_are_told_together_and_nothing_is_written(
    tmp_path: Path, export: Path
) -> None:
    folder = tmp_path / "ousemoor"
    with pytest.raises(InputRefused) as caught:
        take(
            folder,
            export,
            "hosts.vcpu=4",
            "memory=GiB",
            "pools.floor=15 %",
            "hosts.memory.units=GiB",
            ask=never,
        )
    assert [(fault.what, fault.where) for fault in caught.value.faults] == [
        ('"vcpu" is no column of hosts', "--answer"),
        ('"memory=GiB" is not an answer', "--answer"),
        ('"pools.floor=15 %" answers for a table that is not taken: "pools"', "--answer"),
        ('"units" is nothing that a column has', "--answer"),
    ]
    with pytest.raises(InputRefused) as caught:
        take(folder, export, "hosts.memory.unit=G", "hosts.vcpu_per_core=0", ask=never)
    assert [fault.where for fault in caught.value.faults] == [
        "--answer hosts.memory.unit=G",
        "--answer hosts.vcpu_per_core=0",
    ]
    assert not folder.exists()


def test_without_a_terminal_what_is_open_is_named_with_its_flag(
    tmp_path: Path, export: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = ["estate", str(tmp_path / "ousemoor"), "--take", str(export), "--as", "hosts"]
    assert run([*words, "--settle"]) == 1
    said = capsys.readouterr().err
    assert "open: hosts.memory.unit: " in said
    assert "--answer hosts.memory.unit=ANSWER" in said
    assert "proposed: 10 % (common practice, no source" in said
    given = [
        word
        for text in ("hosts.memory=GiB", "hosts.reserved_memory=10 %", "hosts.vcpu_per_core=4")
        for word in ("--answer", text)
    ]
    assert run([*words, *given, "--json"]) == 0
    (table,) = json.loads(capsys.readouterr().out)["data"]["tables"]
    assert table["questions"] == []
    assert run(["estate", str(tmp_path), *given]) == 1
    assert "belong to --take" in capsys.readouterr().err
