"""What keeps a placement stands, the same for each member, on sheets, run cards and in the dossier."""

import asyncio
import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from staddle.dossier.blocks import Table
from staddle.dossier.sections.placement import placement as placement_section
from staddle.jobs.answers import answers_of
from staddle.jobs.dossier import report_of_job
from staddle.jobs.folder import JobFolder
from staddle.jobs.gather import gather
from staddle.jobs.orders import plan_of_job
from staddle.jobs.sheets import look_at_sheets, make_sheets
from staddle.placement.keeping import keeping_of, lines_of
from staddle.plan.looks import NeedsPerson
from staddle.platforms.by_hand import ByHandPlatform
from tests.cli.demo_job import demo_job, settle, staddle

NOW = datetime.now(UTC)
TITLE = "To set on the platform, so that it stays where it is"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> JobFolder:
    """The demo's job, settled. Nobody changes it."""
    root = demo_job(tmp_path_factory.mktemp("keeping"))
    settle(root)
    return JobFolder(root=root)


def lines(folder: JobFolder, member: str) -> list[tuple[str, str]]:
    job = gather(folder, NOW)
    return list(lines_of(keeping_of(job.get_problem(), job.valid_seats() or ()), member))


def test_the_demo_is_kept_in_its_racks_and_pools(folder: JobFolder) -> None:
    told = dict(lines(folder, "levels-2"))
    assert told["Run on"].startswith("om-h04, om-h06 (rack OM-R2); another one at Ousemoor only")
    assert told["Disks stay in"] == "om-store-2: nothing moves them by itself"


def test_each_sheet_has_the_lines_with_a_box(folder: JobFolder) -> None:
    make_sheets(folder, NOW)
    for sheet in look_at_sheets(folder, NOW).sheets:
        (section,) = (part for part in sheet.sections if part.title == TITLE)
        assert [(row.label, row.value) for row in section.rows] == lines(folder, sheet.member)
        text = (folder.sheets / f"{sheet.member}.txt").read_text(encoding="utf-8")
        after = text.split(TITLE, 1)[1]
        assert all(
            any(f"[ ] {what}" in row and value in row for row in after.splitlines())
            for what, value in lines(folder, sheet.member)
        )


def test_without_a_settled_placement_there_is_nothing_to_keep(tmp_path: Path) -> None:
    unsettled = JobFolder(root=demo_job(tmp_path))
    titles = [part.title for sheet in look_at_sheets(unsettled, NOW).sheets for part in sheet.sections]
    assert titles
    assert TITLE not in titles


def test_the_card_of_a_machine_has_the_lines(folder: JobFolder, tmp_path: Path) -> None:
    job = gather(folder, NOW)
    answers = {one.member: one.rows for one in answers_of(job).members}
    plan = plan_of_job(
        job,
        job.valid_seats() or (),
        answers,
        purpose="rollout",
        tag="levels-1",
        package_sha256="0" * 64,
        file_sha256={file.href: "0" * 64 for file in job.package.files},
    )
    platform = ByHandPlatform(tmp_path)
    for order in plan.members:
        look = asyncio.run(platform.look_machine(plan, order, None))
        assert isinstance(look, NeedsPerson)
        told = [(what.lower(), value) for what, value in lines(folder, order.member)]
        assert list(look.card.values[-len(told) :]) == told
        assert 'from "keep apart" on' in look.card.lines[-1]
        bare = asyncio.run(platform.look_machine(plan, replace(order, keeping=()), None))
        assert isinstance(bare, NeedsPerson)
        assert look.card.lines[:-1] == bare.card.lines


def test_the_dossier_has_the_lines(folder: JobFolder) -> None:
    section = placement_section(report_of_job(folder, NOW, revision="A"), with_hatchings=False)
    (table,) = (
        block
        for block in section.blocks
        if isinstance(block, Table) and block.title.startswith("To set on the platform")
    )
    assert [row.cells for row in table.rows] == [
        (f"levels-{n}", *line) for n in (1, 2, 3) for line in lines(folder, f"levels-{n}")
    ]


def test_place_tells_it_in_short_and_as_data(folder: JobFolder) -> None:
    shown = staddle("place", job=folder.root).stdout
    assert "to set on the platform, so that its balancing does not undo this\n" in shown
    assert "  levels-1, levels-2, levels-3: no two on one host, except while a host is down\n" in shown
    data = json.loads(staddle("place", "--json", job=folder.root).stdout)["data"]["keeping"]
    assert [row["memory_bytes"] for row in data["members"]] == [16 * 1024**3] * 3
    assert [row["most"] for row in data["apart"]] == [1]
