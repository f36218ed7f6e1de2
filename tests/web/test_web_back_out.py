"""A rehearsal taken back on its run card: listed first, agreed to and named by hand; then nothing of it is left."""

import json
import re
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from tests.cli.demo_job import demo_job, free_block, settle, staddle
from tests.web.browsing import DEADLINE_MS, browser_of, visit
from tests.web.served import Server, served

pytestmark = pytest.mark.xdist_group("web-back-out")
expect.set_options(timeout=DEADLINE_MS)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browser_of() as found:
        yield found


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = demo_job(tmp_path_factory.mktemp("back"), block=free_block())
    settle(folder)
    done = staddle("rehearse", job=folder, timeout_s=240)
    assert done.returncode == 0, done.stderr
    try:
        yield folder
    finally:
        staddle("back-out", "--rehearsal", "--destroy", job=folder)


@pytest.fixture(scope="module")
def server(job: Path) -> Iterator[Server]:
    with served(job) as running:
        yield running


def machines(job: Path) -> list[str]:
    """Folders of the stand-ins that still lie on the loopback hosts."""
    return sorted(path.name for path in (job / "private" / "loopback" / "hosts").glob("*/*"))


def test_nothing_is_taken_back_by_a_wrong_word(server: Server, job: Path) -> None:
    before = machines(job)
    assert before == ["levels-1", "levels-2", "levels-3"]
    name = "levels-rehearsal-1"
    form = {"of": "rehearsal", "agreed": "yes", "rollout": name}
    assert server.post("/run/back-out", form).status == 409  # nothing was listed yet
    assert server.post("/run/list-back-out", {"of": "rehearsal"}).status == 303
    assert server.post("/run/back-out", form | {"agreed": ""}).status == 422
    assert server.post("/run/back-out", form | {"rollout": "levels-rehearsal-2"}).status == 409
    assert server.post("/run/back-out", form, Origin="http://elsewhere.example").status == 403
    assert server.post("/run/list-back-out", {"of": "rollout"}).status == 409  # there is none
    assert machines(job) == before


def test_a_rehearsal_is_taken_back_on_the_page(browser: Browser, server: Server, job: Path) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        visitor.go("/run?of=rehearsal")
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        page.click("#list-back-out")
        expect(page.locator("#back-listed")).to_contain_text("levels-rehearsal-1")
        listed = page.inner_text("[data-part=back-out]")
        assert "Nothing of it stays behind." in listed  # a rehearsal's machines are stand-ins
        # The command, not confirmed, lists the same and changes nothing.
        command = staddle("back-out", "--rehearsal", job=job)
        assert command.returncode == 1
        steps = re.findall(r"^  (\S.*)$", command.stderr.partition("will be taken back:")[2], re.MULTILINE)
        assert len(steps) >= 3
        assert [step for step in steps if step not in listed] == []
        page.check("#destroy")
        page.fill("#back-name", "levels-rehearsal-1")
        page.get_by_role("button", name="Take it back").click()
        expect(page.locator("[data-part=sentence]")).to_have_text("levels-rehearsal-1 was backed out.")
        assert visitor.complaints == []
    until = time.monotonic() + 120
    while machines(job):
        assert time.monotonic() < until
    entries = json.loads(staddle("journal", "--json", job=job).stdout)["data"]["entries"]
    assert [one["entry"]["event"] for one in entries].count("seen gone") >= 3
    told = json.loads(server.get("/run.json?of=rehearsal").body)["data"]
    assert (told["may_back_out"], told["is_open"]) == (False, False)
