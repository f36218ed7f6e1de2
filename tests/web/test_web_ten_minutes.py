"""A newcomer's first ten minutes in a browser, from an empty folder: package, exports, questions, findings, plan, sheets.

The package and the exports were not made for the program, and no command is typed after ``serve``.
"""

import json
import subprocess
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from staddle.jobs.draft import name_estate, name_package, read_draft, upload_package
from staddle.jobs.folder import JobFolder
from staddle.kernel import InputRefused, NotAllowed, OutsideFailed
from tests.cli.demo_job import PROGRAM, TODAY
from tests.cli.foreign_job import foreign_exports, foreign_package
from tests.cli.test_cli_first_ten_minutes import ANSWERS, mended
from tests.web.browsing import DEADLINE_MS, browser_of, visit
from tests.web.served import Server, served

pytestmark = pytest.mark.xdist_group("web-ten-minutes")
expect.set_options(timeout=DEADLINE_MS)

EXPORTS = {
    "hosts": "servers.xlsx",
    "pools": "storage.csv",
    "guests": "machines.csv",
    "networks": "networks.csv",
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browser_of() as found:
        yield found


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A folder with a package and exports, and an empty folder in it for the job."""
    foreign_package(tmp_path / "tidepost.ova")
    foreign_exports(tmp_path / "exports")
    mended(tmp_path / "exports")
    (tmp_path / "harbour").mkdir()
    return tmp_path


def sound(page: Page) -> None:
    """axe-core finds nothing serious."""
    page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
    found = Axe().run(page, options={"resultTypes": ["violations"]})
    bad = [one for one in found.response["violations"] if one["impact"] in ("serious", "critical")]
    assert bad == [], json.dumps(bad, indent=1)[:3000]


def answer_what_is_open(page: Page) -> None:
    """Fill what ANSWERS says into the fields of that name, take the proposals for the rest, until nothing is open."""
    left = dict(ANSWERS)
    for _ in range(6):
        for key, text in list(left.items()):
            field = page.locator(f'#answers [name="answer {key}"]')
            if not field.count():
                field = page.locator(f'.mend[name="answer {key}"]')
            if field.count():
                field.first.fill(text)
                del left[key]
        page.click("#answers > button")
        page.wait_for_load_state()
        assert not page.locator("[role=alert]").count(), page.inner_text("[role=alert]")
        if page.locator("#surveyed").count():
            return
    raise AssertionError(page.inner_text("main"))


@pytest.mark.parametrize("with_script", [True, False])
def test_from_an_empty_folder_to_sheets_and_requests(
    browser: Browser, root: Path, *, with_script: bool
) -> None:
    job = root / "harbour"
    with served(job) as server, visit(browser, server, with_script=with_script) as visitor:
        page = visitor.page
        visitor.go("/")
        assert page.url == f"{server.base}/begin"
        assert page.inner_text(".lead") == "No job was begun in this folder yet."
        visitor.go("/findings")
        assert "no job was begun in this folder yet" in page.inner_text("[role=alert]")
        visitor.go("/begin")
        if with_script:
            sound(page)

        page.click("button:text('../tidepost.ova')")
        page.wait_for_url("**/begin#estate")
        page.click("text=What it holds, and every question it will ask")
        assert all(key in page.inner_text("main") for key in ("tp.unit.fullname", "tp.mirror.v4", "cobble"))

        visitor.go("/begin")
        page.fill("#estate-path", "../est")
        page.click("button:text('Take this folder')")
        page.click("#drop")
        page.wait_for_url("**/estate")
        for table, name in EXPORTS.items():
            page.set_input_files(f"#file-{table}", root / "exports" / name)
        page.click("button:text('Hand in')")
        page.wait_for_selector("#taking")
        answer_what_is_open(page)
        page.fill("#surveyed", str(TODAY - timedelta(days=1)))
        page.fill("#surveyed-by", "virtualisation team")
        page.click("button:text('Write the tables')")
        page.wait_for_url("**/estate?written=yes")
        assert "12 hosts, 3 pools, 80 guests" in page.inner_text("main")

        visitor.go("/begin")
        assert "12 hosts, 3 pools, 80 guests" in page.inner_text("main")
        page.fill(
            "#answer-job", "Tide Post"
        )  # a name that no machine can have: told, and what was typed is kept
        page.fill("#answer-cluster", "Harbour archive")
        page.fill("#answer-zone", "archive.harrow.example")
        page.select_option("#network-1", "apps-front")
        page.fill("#first-1", "198.51.100.61")
        page.select_option("#network-2", "apps-mirror")
        page.fill("#first-2", "203.0.113.11")
        page.click("text=what may be said besides")
        opens, closes = (TODAY + timedelta(days=days) for days in (40, 41))
        page.fill("#more-windows", f"{opens} 20:00 to {closes} 02:00 Europe/London")
        page.fill("#more-change", "C-71")
        page.fill("#more-time_servers", "\n".join(f"198.51.100.{50 + i}" for i in range(4)))
        page.click("button:text('Write the design')")
        assert "cannot be the name of a job" in page.inner_text("[role=alert]")
        assert not (job / "design.yaml").exists()
        assert page.input_value("#answer-cluster") == "Harbour archive"
        assert page.input_value("#network-1") == "apps-front"
        page.fill("#answer-job", "tidepost")
        page.click("button:text('Write the design')")
        page.wait_for_url("**/standing")
        assert (job / "design.yaml").is_file()
        assert page.locator("h1").inner_text() == "Standing"

        visitor.go("/findings")
        told = page.inner_text("main")
        assert "open-question" in told
        assert "profile-missing" in told
        assert not any(rule in told for rule in ("no-window", "few-time-servers", "no-change-reference"))

        visitor.go("/plan")
        if not with_script:
            while not page.locator("#settle").count():
                page.get_by_role("link", name="Look again").click()
        expect(page.locator("#settle")).to_be_visible()
        page.click("#settle button")
        page.wait_for_url("**/plan?settled=yes")
        assert "tidepost-1" in page.inner_text("main")
        if with_script:
            sound(page)

        visitor.go("/survival")
        visitor.go("/answers")
        page.get_by_role("button", name="Write them to the job folder").click()
        page.wait_for_load_state()
        visitor.go("/requests")
        assert "198.51.100.61" in page.inner_text("main")
        assert (job / "placement.yaml").is_file()
        assert list((job / "sheets").iterdir())
        assert visitor.complaints == [] or all("422" in text for text in visitor.complaints)
    assert (job / "private").stat().st_mode & 0o777 == 0o700
    assert not (job / "private" / "begin.json").exists()  # the design says it now


@pytest.fixture
def server(root: Path) -> Iterator[Server]:
    with served(root / "harbour") as running:
        yield running


def test_looking_writes_nothing_into_an_empty_folder(server: Server, root: Path) -> None:
    for path in ("/", "/begin", "/estate", "/package", "/plan", "/survival", "/run", "/standing", "/jobs"):
        assert server.get(path).status in (200, 303, 422), path
    assert [path.name for path in (root / "harbour").iterdir()] == ["serve.txt"]  # the test's own


def test_every_fault_of_the_answers_is_told_at_once(server: Server, root: Path) -> None:
    assert server.post("/begin/package", {"path": "../nowhere.ova"}).status in (422, 502)
    assert server.post("/begin/package", {"path": ""}).status == 422
    assert server.post("/begin/package", {"path": str(root / "tidepost.ova")}).status == 303
    answer = server.post(
        "/begin/answer",
        {
            "job": "A B",
            "cluster": "",
            "profile": "unwritten",
            "members": "none",
            "zone": "-",
            "network Front": "apps-front",
            "first Front": "over there",
            "windows": "some day",
        },
    )
    assert answer.status == 422
    for what in (
        "cannot be the name of a job",
        "name is empty",
        'there is no profile "unwritten"',
        "is not a number of members",
        "does not end with an address",
        "is not a window",
    ):
        assert what in answer.body.replace("&#34;", '"').replace("&#39;", "'"), what
    assert not (root / "harbour" / "design.yaml").exists()
    foreign = server.post("/begin/package", {"path": "../tidepost.ova"}, Origin="http://elsewhere.example")
    assert foreign.status == 403


def test_a_package_that_is_handed_in_keeps_to_its_bounds(root: Path) -> None:
    folder = JobFolder(root=root / "harbour")
    whole = (root / "tidepost.ova").read_bytes()
    for name in ("../tidepost.ova", "tidepost.exe", ".ova", "a/b.ova", "tide post.ova", ""):
        with pytest.raises(InputRefused, match="not the name of an OVA"):
            upload_package(folder, name, whole)
    with pytest.raises(InputRefused):
        upload_package(folder, "broken.ova", b"not an archive")
    assert not (folder.root / "broken.ova").exists()
    assert upload_package(folder, "tidepost.ova", whole).package == "tidepost.ova"
    with pytest.raises(NotAllowed, match="there is a file tidepost"):
        upload_package(folder, "tidepost.ova", whole)
    assert read_draft(folder).package == "tidepost.ova"


def test_nothing_is_named_anew_once_the_job_is_begun(root: Path) -> None:
    folder = JobFolder(root=root / "harbour")
    with pytest.raises(OutsideFailed, match="nowhere"):
        name_package(folder, "../nowhere.ova")
    with pytest.raises(InputRefused, match="is a file"):
        name_estate(folder, "../tidepost.ova")
    folder.design.write_text("job:", encoding="utf-8")
    with pytest.raises(NotAllowed, match="the job is begun"):
        name_package(folder, "../tidepost.ova")
    with pytest.raises(NotAllowed, match="the job is begun"):
        name_estate(folder, "../est")


def test_a_form_that_is_too_large_is_refused_before_it_is_read(server: Server) -> None:
    headers = {"Host": server.host, "Cookie": server.cookie, "Origin": server.base}
    headers |= {"Content-Type": "multipart/form-data; boundary=x", "Content-Length": str(65_000_000)}
    answer = server.ask("POST", "/begin/package", headers, b"")
    assert answer.status == 413


def test_serving_a_folder_that_is_not_there_is_refused(tmp_path: Path) -> None:
    done = subprocess.run(
        [PROGRAM, "serve", "--job", str(tmp_path / "none")], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 1
    assert "there is no design.yaml here" in done.stderr
