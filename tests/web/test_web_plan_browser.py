"""The plan in a browser: fail a rack in the drawing, move a member by pointer and by keyboard, settle, print; and axe-core."""

import json
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.cli.demo_job import demo_job, settle
from tests.web.browsing import DEADLINE_MS, browser_of, visit
from tests.web.served import Server, served

pytestmark = pytest.mark.xdist_group("web-plan-browser")
expect.set_options(timeout=DEADLINE_MS)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browser_of() as found:
        yield found


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = demo_job(tmp_path)
    settle(folder)
    return folder


@pytest.fixture
def server(job: Path) -> Iterator[Server]:
    with served(job) as running:
        yield running


def part(page: Page, kind: str, name: str) -> str:
    """The link of a part in the drawing, by what it says."""
    return f'.plan a[aria-label^="{kind} {name}:"]'


def middle(page: Page, selector: str, *, down: float = 0.5) -> tuple[float, float]:
    box = page.locator(selector).bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] * down


def test_a_rack_is_failed_by_a_click_and_stands_again(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        visitor.go("/plan")
        expect(page.locator("#says")).to_contain_text("levels: 3 members on om-h01, om-h04, om-h07; settled.")
        page.click(part(page, "rack", "OM-R1"))
        expect(page.locator("#says")).to_contain_text(
            "With rack OM-R1 failed the cluster serves, with something of it down"
        )
        assert page.url.endswith("/plan?fail=OM-R1")  # an address that can be sent to somebody
        page.click(part(page, "host", "om-h04"))
        expect(page.locator("#says")).to_contain_text("the cluster does not serve")
        page.go_back()
        expect(page.locator("#says")).to_contain_text("With rack OM-R1 failed the cluster serves")
        page.reload()
        expect(page.locator("#says")).to_contain_text("With rack OM-R1 failed the cluster serves")
        page.click("#stand-again")
        expect(page.locator("#says")).to_contain_text("settled.")
        for kind, name in (("feed", "OM-feed-A"), ("site", "Ousemoor")):
            page.click(part(page, kind, name))
            expect(page.locator("#says")).to_contain_text(f"{kind} {name}")
        page.click("#stand-again")
        expect(page.locator("#says")).to_contain_text("settled.")
        page.click("ul.parts a:has-text('om-store-2')")
        expect(page.locator("#says")).to_contain_text("With pool om-store-2 failed")
        assert visitor.complaints == []
        assert [url for url in visitor.fetched if not url.startswith(server.base)] == []


def test_the_drawing_is_worked_with_the_keyboard(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        visitor.go("/plan")
        page.focus(".plan")
        page.keyboard.press("Tab")
        assert str(page.evaluate("document.activeElement.getAttribute('aria-label')")).startswith(
            "rack OM-R1:"
        )
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        expect(page.locator("#says")).to_contain_text("With host om-h01 failed")
        # What was in focus is in focus still, so that a second Enter lets it stand again.
        expect(page.locator(".plan a:focus")).to_have_attribute(
            "aria-label", "host om-h01: is failed; let it stand again"
        )
        page.keyboard.press("Enter")
        expect(page.locator("#says")).to_contain_text("settled.")


def test_a_member_is_moved_by_pointer(browser: Browser, server: Server) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        visitor.go("/plan")
        stone = page.locator('.plan a[data-member="levels-3"]')
        stone.scroll_into_view_if_needed()
        page.mouse.move(*middle(page, '.plan a[data-member="levels-3"]'))
        page.mouse.down()
        x, y = middle(page, '.plan a[data-host="om-h08"]', down=0.4)
        page.mouse.move(x, y, steps=8)
        expect(page.locator('.plan a[data-host="om-h08"].target')).to_have_count(1)
        page.mouse.up()
        expect(page.locator("#price")).to_contain_text("levels-3 could stand on om-h08")
        expect(page.locator("#price")).to_contain_text("moving 1 of what is settled")
        assert page.input_value("#move-member") == "levels-3"
        # Set down where nothing is, nothing is asked.
        page.mouse.move(*middle(page, '.plan a[data-member="levels-1"]'))
        page.mouse.down()
        page.mouse.move(5, 5, steps=4)
        page.mouse.up()
        assert "member=levels-3&host=om-h08" in page.url


def test_a_member_is_moved_by_keyboard_and_settled_without_javascript(
    browser: Browser, server: Server, job: Path
) -> None:
    with visit(browser, server, with_script=False) as visitor:
        page = visitor.page
        visitor.go("/plan")
        page.focus("#move-member")
        page.keyboard.type("levels-3")
        page.keyboard.press("Tab")
        page.keyboard.type("om-h08")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        page.wait_for_url("**/plan?member=levels-3&host=om-h08*")
        assert "could stand on om-h08" in page.inner_text("#price")
        page.click("#settle button")
        page.wait_for_url("**/plan?settled=yes")
        assert "Settled in placement.yaml" in page.inner_text("[role=status].note")
        assert "om-h08" in page.inner_text("#says")
    settled = (job / "placement.yaml").read_text(encoding="utf-8")
    assert re.search(r'member: "levels-3"\s+host: "om-h08"', settled)


def test_a_search_is_shown_while_it_is_at_work_and_its_end_comes_by_itself(
    browser: Browser, tmp_path: Path
) -> None:
    job = demo_job(tmp_path)
    with served(job) as server, visit(browser, server) as visitor:
        visitor.go("/plan")  # whether it is found by now or not
        expect(visitor.page.locator("#settle")).to_be_visible()
        visitor.page.click("#settle button")
        visitor.page.wait_for_url("**/plan?settled=yes")
    assert (job / "placement.yaml").is_file()


def test_axe_finds_nothing_serious_with_a_failure_a_move_and_an_emptied_host(
    browser: Browser, server: Server
) -> None:
    with visit(browser, server) as visitor:
        page = visitor.page
        for query in ("fail=om-h01,om-h04", "member=levels-1&host=om-h02&along=yes&empty=om-h01"):
            visitor.go(f"/plan?{query}")
            page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
            for width, scheme in ((360, "light"), (1280, "dark"), (3840, "light")):
                page.set_viewport_size({"width": width, "height": 900})
                page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
                found = Axe().run(page, options={"resultTypes": ["violations"]})
                bad = [
                    one for one in found.response["violations"] if one["impact"] in ("serious", "critical")
                ]
                assert bad == [], (query, width, json.dumps(bad, indent=1)[:3000])
                over = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
                assert page.evaluate(over) <= 0, (query, width)
        assert visitor.complaints == []


def test_the_plan_prints_with_its_failure_and_without_its_forms(
    browser: Browser, server: Server, tmp_path: Path
) -> None:
    with visit(browser, server, dark=True) as visitor:
        visitor.go("/plan?fail=OM-R1")
        visitor.page.pdf(path=tmp_path / "plan.pdf", format="A4", landscape=True)
    text = subprocess.run(
        ["pdftotext", "-layout", tmp_path / "plan.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    assert "With rack OM-R1 failed the cluster serves" in " ".join(text.split())
    assert re.search(r"checked", text)
    assert not re.search(r"Tell what it would cost|Settle it|Search anew", text)
    for name in ("om-h05", "levels-2", "OM-feed-B", "Ousemoor"):
        assert name in text  # the drawing itself
