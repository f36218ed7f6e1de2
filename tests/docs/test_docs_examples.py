"""The code and the profile in the project's pages are what a reader would write: each is run or read here."""

import asyncio
import re
import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from staddle.cli.options import Options
from staddle.design.reader import read_design
from staddle.jobs.folder import JobFolder
from staddle.jobs.profiles import load_profile
from staddle.kernel import SystemClock, SystemRandom
from staddle.plan.kind import Kind
from staddle.plan.ports import ConsoleText
from staddle.review.facts import Facts
from staddle.review.review import review_with
from staddle.review.rule import Rule
from staddle.web import sheets
from staddle.web.catalogue import all_sheets, forget_sheets
from staddle.web.serving import get_once
from tests.cli.demo_job import demo_job
from tests.rollout.plans import plan_of

ROOT = Path(__file__).parents[2]
FENCE = re.compile(r"^```(python|yaml)\n# (\S+)\n(.*?)^```", re.MULTILINE | re.DOTALL)


def example(page: str, name: str) -> str:
    """The fenced text of a page whose first line names that file."""
    found: dict[str, str] = {
        file: text for _, file, text in FENCE.findall((ROOT / page).read_text(encoding="utf-8"))
    }
    return found[name]


@pytest.fixture
def written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> ModuleType:
    """The example as a module of its own, imported from a file."""
    page, file = request.param
    name = f"example_{Path(file).stem}"
    (tmp_path / f"{name}.py").write_text(example(page, file), encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    return import_module(name)


@pytest.mark.parametrize(
    "written", [("CONTRIBUTING.md", "src/staddle/review/rules/engineer.py")], indirect=True
)
def test_the_rule_finds_and_stays_silent(written: ModuleType) -> None:
    (found,) = (value for value in vars(written).values() if isinstance(value, Rule))
    text = (ROOT / "demo" / "levels" / "design.yaml").read_text(encoding="utf-8")
    now = SystemClock().now()
    for wanted, design_text in (([], text), ([found.name], text.replace("  engineer: R. Fenwold\n", ""))):
        read = read_design(design_text, where="design.yaml")
        facts = Facts(design=read.design, places=read.places, today=now.date(), now=now)
        assert [finding.rule for finding in review_with([found], facts).kept] == wanted


@pytest.mark.parametrize(
    "written", [("CONTRIBUTING.md", "src/staddle/plan/kinds/await_clock.py")], indirect=True
)
def test_the_kind_of_step_is_one(written: ModuleType) -> None:
    assert isinstance(written.KIND, Kind)
    assert written.KIND.facts.name == "await-clock"


@pytest.mark.parametrize("written", [("CONTRIBUTING.md", "src/staddle/cli/where.py")], indirect=True)
def test_the_command_runs(written: ModuleType, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = tmp_path / "levels"
    job.mkdir()
    (job / "design.yaml").write_bytes((ROOT / "demo" / "levels" / "design.yaml").read_bytes())
    assert written.where(options=Options(job=job)) == 0
    assert capsys.readouterr().out.strip() == str(job.resolve())


@pytest.mark.parametrize("written", [("docs/platforms.md", "shipyard_platform.py")], indirect=True)
def test_the_platform_reads_a_captured_console(written: ModuleType, tmp_path: Path) -> None:
    platform, plan = written.CapturedConsoles(tmp_path), plan_of()
    member = plan.members[0]
    assert asyncio.run(platform.read_console(plan, member)) == ConsoleText(text="")
    (tmp_path / "consoles").mkdir()
    (tmp_path / "consoles" / f"{member.machine}.txt").write_text("ready\n", encoding="utf-8")
    assert asyncio.run(platform.read_console(plan, member)) == ConsoleText(text="ready\n")


def test_the_profile_is_read_without_a_fault(tmp_path: Path) -> None:
    (tmp_path / "gatelog.yaml").write_text(example("docs/profiles.md", "gatelog.yaml"), encoding="utf-8")
    profile = load_profile("gatelog.yaml", JobFolder(root=tmp_path))
    assert profile is not None
    assert [line.step for line in profile.cluster] == ["record"]


def test_the_sheet_is_found_by_being_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    page = (ROOT / "docs" / "pages.md").read_text(encoding="utf-8")
    (template,) = re.findall(r"^```html\n(.*?)^```", page, re.MULTILINE | re.DOTALL)
    (tmp_path / "where_it_lies.py").write_text(example("docs/pages.md", "where_it_lies.py"), encoding="utf-8")
    (tmp_path / "where-it-lies.html.j2").write_text(template, encoding="utf-8")
    job = demo_job(tmp_path / "work")
    monkeypatch.setattr(sheets, "__path__", [*sheets.__path__, str(tmp_path)])
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    forget_sheets()
    try:
        reply = get_once(
            JobFolder(root=job), "/where-it-lies", clock=SystemClock(), random=SystemRandom(), actor="x"
        )
    finally:
        monkeypatch.undo()
        sys.modules.pop("staddle.web.sheets.where_it_lies", None)
        forget_sheets()
    text = reply.body.decode()
    assert reply.status == 200
    assert str(job) in text
    assert f"sheet</dt><dd>{len(all_sheets()) + 1} of {len(all_sheets()) + 1}" in text
    assert "where-it-lies" not in [sheet.name for sheet in all_sheets()]
