"""The pages in a browser: a rehearsal begun on the run card, its server killed and started again; then every sheet looked at.

One story, told once: what the rehearsal leaves is what the sheets then show.
"""

import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from staddle.web.catalogue import all_sheets
from tests.cli.demo_job import demo_job, free_block, settle, staddle
from tests.web.browsing import DEADLINE_MS, browser_of, visit
from tests.web.served import Server, served

pytestmark = pytest.mark.xdist_group("web-browser")

SHEETS = [sheet.name for sheet in all_sheets()]
expect.set_options(timeout=DEADLINE_MS)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = demo_job(tmp_path_factory.mktemp("pages"), block=free_block())
    settle(folder)
    try:
        yield folder
    finally:
        staddle("back-out", "--rehearsal", "--destroy", job=folder)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browser_of() as found:
        yield found


def steps_done(page: Page) -> int:
    """As the sentence of the run card has it; 0 while there is none."""
    found = re.search(r"(\d+) of \d+ steps", page.inner_text("[data-part=sentence]"))
    return int(found[1]) if found else 0


@pytest.fixture(scope="module")
def told(job: Path, browser: Browser) -> dict[str, object]:
    """The story: what was seen on the page before the server was killed, and after it was started again."""
    seen: dict[str, object] = {}
    with served(job) as first, visit(browser, first) as visitor:
        page = visitor.page
        visitor.go("/run?of=rehearsal")
        seen["none"] = page.inner_text("[data-part=sentence]")
        page.click("#list")
        page.wait_for_selector("#agreed")
        seen["listed"] = page.inner_text("[data-part=listed]")
        page.click("text=Begin the rehearsal")
        seen["begun without agreeing"] = page.locator("#hold").count()
        page.check("#agreed")
        page.click("text=Begin the rehearsal")
        # Nothing is loaded by hand from here: the page itself goes along.
        page.wait_for_function(
            "() => document.querySelectorAll('.lines .mark.seen-done').length >= 8", timeout=DEADLINE_MS
        )
        first.kill()
        expect(page.locator("[data-line]")).to_be_visible()
        seen["when killed"] = steps_done(page)
    with served(job) as second, visit(browser, second) as visitor:
        page = visitor.page
        visitor.go("/run")
        seen["after"] = page.inner_text("[data-part=sentence]")
        seen["after done"] = steps_done(page)
        page.click("#go-on")
        expect(page.locator("[data-part=sentence]")).to_contain_text("is sealed: 40 of 40 steps seen done")
        seen["complaints"] = visitor.complaints
    return seen


@pytest.fixture(scope="module")
def server(told: dict[str, object], job: Path) -> Iterator[Server]:
    """A server on the job after the story, with its record written."""
    with served(job) as running:
        assert running.post("/answers/write", {}).status == 303
        assert running.post("/dossier/write", {"revision": "B"}).status == 303
        yield running


def test_a_rehearsal_goes_on_from_the_journal_after_its_server_was_killed(
    told: dict[str, object], job: Path
) -> None:
    assert told["none"] == "No rehearsal was begun yet."
    assert told["begun without agreeing"] == 0
    assert "Cannot be backed out once done" in str(told["listed"])
    assert re.fullmatch(
        r"levels-rehearsal-1 stands at \d+ of 40 steps, and nobody is at work on it here\.",
        str(told["after"]),
    )
    assert int(str(told["after done"])) >= int(str(told["when killed"])) >= 8
    assert told["complaints"] == []
    done = staddle("journal", "--json", job=job)
    entries = json.loads(done.stdout)["data"]["entries"]
    made = [
        e
        for e in entries
        if e["entry"]["step_id"] == "levels-1/create-machine" and e["entry"]["event"] == "seen done"
    ]
    assert len(made) == 1  # nothing was done twice
    assert len({one["epoch"] for one in entries}) == 2  # two holders of the lease


def words_of(page: Page) -> str:
    """What stands on the sheet, without the buttons that only a script can serve."""
    return re.sub(r"\s+", " ", re.sub(r"\bcopy\b", "", page.locator("main").inner_text())).strip()


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_is_sound_wide_and_narrow_light_and_dark_and_says_the_same_without_javascript(
    browser: Browser, server: Server, name: str
) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        visitor.go(f"/{name}")
        words = words_of(page)
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        for width, scheme in ((1280, "light"), (360, "dark")):
            page.set_viewport_size({"width": width, "height": 800})
            page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
            found = Axe().run(page, options={"resultTypes": ["violations"]})
            bad = [one for one in found.response["violations"] if one["impact"] in ("serious", "critical")]
            assert bad == [], (width, scheme, json.dumps(bad, indent=1)[:3000])
            # WCAG 2.2 §1.4.10: at 320 to 360 px nothing but tables and drawings scrolls sideways.
            over = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
            assert page.evaluate(over) <= 0, width
        assert visitor.complaints == []
        assert [url for url in visitor.fetched if not url.startswith(server.base)] == []
    with visit(browser, server, with_script=False) as visitor:
        visitor.go(f"/{name}")
        assert words_of(visitor.page) == words
        assert len(words) > 100


def test_the_rules_see_a_planted_fault(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        visitor.go("/findings")
        visitor.page.evaluate("document.querySelector('label[for=about]').remove()")
        visitor.page.evaluate("document.querySelector('#about').removeAttribute('placeholder')")
        found = Axe().run(visitor.page, options={"resultTypes": ["violations"]})
        assert "label" in [one["id"] for one in found.response["violations"]]


def test_the_printed_address_opens_at_the_first_sheet_and_leaves_no_token_in_the_bar(
    browser: Browser, server: Server
) -> None:
    page = browser.new_context().new_page()
    page.goto(server.address)
    assert page.url == f"{server.base}/{SHEETS[0]}"
    page.reload()
    assert page.locator("h1").inner_text() == "Standing"
    page.context.close()


def test_a_finding_is_filtered_and_accepted_without_javascript(
    browser: Browser, server: Server, job: Path
) -> None:
    before = (job / "waivers.yaml").read_bytes()
    try:
        with visit(browser, server, with_script=False) as visitor:
            page = visitor.page
            visitor.go("/findings")
            page.fill("#about", "zone-reserved")
            page.click("text=Filter")
            assert page.locator("section[aria-labelledby=kept] li").count() == 1
            page.click("text=accept it")
            page.fill("#reason-1", "no reason is too long")
            page.fill("#where-1", "levels-77")
            page.click("button:text('Accept')")
            assert "no finding of zone-reserved for levels-77 stands" in page.inner_text("[role=alert]")
            assert page.input_value("input[name=reason]:visible") == "no reason is too long"
            page.fill("input[name=where]:visible", "")
            page.click("button:text('Accept'):visible")
            assert "Accepted, and written to waivers.yaml." in page.inner_text("[role=status]")
            assert "no reason is too long" in page.inner_text("section[aria-labelledby=waived]")
    finally:
        (job / "waivers.yaml").write_bytes(before)


def test_everything_is_reached_with_the_keyboard(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        visitor.go("/findings")
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Go to what is on the sheet"
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "drawing"
        # From the content on, every control and every region that scrolls comes in the order of the page.
        wanted = page.evaluate(
            "() => [...document.querySelectorAll('main a, main button, main select, main input:not([type=hidden]),"
            ' main summary, main [tabindex="0"]\')].filter(e => e.checkVisibility({checkVisibilityCSS: true}))'
            ".map(e => e.id || e.textContent.trim().slice(0, 20))"
        )
        reached = []
        for _ in wanted:
            page.keyboard.press("Tab")
            reached.append(
                page.evaluate(
                    "document.activeElement.id || document.activeElement.textContent.trim().slice(0, 20)"
                )
            )
        assert reached == wanted
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"


def test_a_value_is_copied(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        visitor.go("/answers?member=levels-2")
        visitor.page.get_by_role("button", name="Copy Host name of levels-2").click()
        expect(visitor.page.get_by_role("button", name="Copy Host name of levels-2")).to_have_text("copied")
        assert visitor.page.evaluate("navigator.clipboard.readText()") == "levels-2.ousemoor.example"


def test_who_sees_whom_is_looked_at_again(browser: Browser, server: Server, job: Path) -> None:
    proof = job / "records" / "levels-rehearsal-1" / "proof.json"
    before = json.loads(proof.read_text(encoding="utf-8"))["at"]
    with visit(browser, server) as visitor:
        visitor.go("/sights")
        visitor.page.click("text=Look now")
        visitor.page.wait_for_url("**/sights?of=rehearsal")
        assert "Proven: all 78 checks are good." in visitor.page.inner_text("main")
    assert json.loads(proof.read_text(encoding="utf-8"))["at"] > before


def test_the_record_is_shown_and_given_out(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        visitor.go("/dossier")
        frame = visitor.page.frame_locator("iframe.record")
        expect(frame.locator("h1")).to_have_text("Ousemoor levels")
        assert visitor.complaints == []
    pdf = server.ask("HEAD", "/dossier/dossier.pdf", {"Host": server.host, "Cookie": server.cookie})
    assert (pdf.status, pdf.headers["content-type"]) == (200, "application/pdf")


@pytest.mark.parametrize(("paper", "width", "height"), [("A4", 595, 842), ("A3", 842, 1191)])
def test_a_sheet_prints_on_paper(
    browser: Browser, server: Server, tmp_path: Path, paper: str, width: int, height: int
) -> None:
    # ISO 216: A4 is 210 mm × 297 mm, A3 297 mm × 420 mm; a point is 1/72 inch.
    with visit(browser, server, dark=True) as visitor:
        visitor.go("/answers")
        visitor.page.pdf(path=tmp_path / "answers.pdf", format=paper, prefer_css_page_size=False)
    facts = subprocess.run(
        ["pdfinfo", tmp_path / "answers.pdf"], capture_output=True, text=True, check=True
    ).stdout
    across, high = map(float, re.search(r"Page size: +([\d.]+) x ([\d.]+)", facts).groups())  # type: ignore[union-attr]
    assert (round(across), round(high)) == pytest.approx((width, height), abs=1)
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "answers.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    pages = text.split("\f")[:-1]
    # Each member begins a page of its own; buttons, register and filters are not printed; the title block is.
    for member in ("levels-1", "levels-2", "levels-3"):
        assert [
            i for i, page in enumerate(pages) if re.search(rf"^ *{member} +answer sheet", page, re.MULTILINE)
        ], member
        first = next(i for i, page in enumerate(pages) if f"{member}" in page and "answer sheet" in page)
        assert len([p for p in pages[first].splitlines() if "answer sheet" in p and "of 3" in p]) == 1
    assert not re.search(r"\bcopy\b|Write them to the job folder|Jobs of the estate", text)
    assert "checked" in pages[-1]
    assert "typed by" in text
    assert "page 1 of" in pages[0]
