"""Makes a picture of every page of the demo's job in build/screenshots: narrow, wide and dark. Needs Debian's Chromium.

Run as ``python -m demo.screenshots``, or ``make screenshots``. With ``--docs`` the few that the pages of docs/ show are
made anew too. Whoever changes a page looks at its pictures before it is called done.
"""

import shutil
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from playwright.sync_api import Browser, Page, sync_playwright

from demo import run
from staddle.web.catalogue import all_sheets

__all__ = ["main"]

CHROMIUM: Final = "/usr/bin/chromium"
PICTURES: Final = run.ROOT / "build" / "screenshots"
DOCS: Final = {
    "standing": "pages-standing.png",
    "plan-failed": "pages-plan.png",
    "run-cards": "pages-run-card.png",
}
ADDRESSES: Final = {
    "plan-failed": "plan?fail=OM-R1",
    "plan-hosts": "plan?fail=om-h01,om-h04",
    "plan-moved": "plan?member=levels-3&host=om-h08&empty=om-h01",
    "run-cards": "run?of=rollout",
}
"""Pictures of a sheet with a question; every other one is a sheet as it is opened."""
DOCS_SIZE: Final = (1100, 780)  # small enough to be committed, large enough to be read
PLAN_HIGH: Final = 1010  # down to the names of the sites
WAYS: Final = {
    "360": (360, "light"),
    "1280": (1280, "light"),
    "dark": (1280, "dark"),
    "3840": (3840, "light"),
}


def main(*, docs: bool) -> int:
    """Make all pictures. Returns: 0."""
    run.prepare()
    for words in (["place", "--settle", "--yes"], ["sheets"], ["rehearse"], ["dossier"]):
        print(f"$ staddle {' '.join(words)}", flush=True)
        subprocess.run(
            [sys.executable, "-m", "staddle", *words, *run.job()],
            cwd=run.ROOT,
            check=True,
            stdout=subprocess.DEVNULL,
        )
    shutil.rmtree(PICTURES, ignore_errors=True)
    PICTURES.mkdir(parents=True)
    with served() as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            _shoot_begin(browser)
            for way in WAYS:
                _shoot_all(browser, address, way)
            _shoot_one(browser, address, "standing")
            _shoot_one(browser, address, "plan-failed")
            _shoot_cards(browser, address)
            _shoot_one(browser, address, "run-cards")
        finally:
            browser.close()
    if docs:
        for picture, name in DOCS.items():
            shutil.copyfile(PICTURES / f"{picture}-docs.png", run.ROOT / "docs" / name)
    print(f"pictures are in {PICTURES.relative_to(run.ROOT)}")
    return 0


@contextmanager
def served(job: Sequence[str] | None = None) -> Iterator[str]:
    """The address of a server on the demo's job, ended with the block. Args: job: another job's option."""
    command = [sys.executable, "-m", "staddle", "serve", *(run.job() if job is None else job)]
    process = subprocess.Popen(
        command, cwd=run.ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert process.stdout is not None
    try:
        yield process.stdout.readline().strip()
    finally:
        process.terminate()
        process.wait(timeout=40)
        process.stdout.close()


def _opened(browser: Browser, address: str, way: str) -> Page:
    width, scheme = WAYS[way]
    context = browser.new_context(
        viewport={"width": width, "height": 2160 if width == 3840 else 800},
        color_scheme="dark" if scheme == "dark" else "light",
    )
    page = context.new_page()
    page.goto(address)
    return page


def _shoot_all(browser: Browser, address: str, way: str) -> None:
    page = _opened(browser, address, way)
    for sheet in all_sheets():
        page.goto(f"{address.partition('/?')[0]}/{sheet.name}")
        page.screenshot(path=PICTURES / f"{sheet.name}-{way}.png", full_page=True)
    for picture in ("plan-failed", "plan-hosts", "plan-moved"):
        page.goto(f"{address.partition('/?')[0]}/{ADDRESSES[picture]}")
        page.screenshot(path=PICTURES / f"{picture}-{way}.png", full_page=True)
    page.context.close()


def _shoot_begin(browser: Browser) -> None:
    """The sheet Begin in a folder without a design: empty, and with its package named."""
    empty = run.PLACE / "empty"
    empty.mkdir()
    with served(["--job", str(run.shown(empty))]) as address:
        for way in WAYS:
            page = _opened(browser, address, way)
            page.screenshot(path=PICTURES / f"begin-empty-{way}.png", full_page=True)
            page.context.close()
        page = _opened(browser, address, "1280")
        page.click("button:text('../sluicelog')")
        page.wait_for_selector("#network-1")
        page.evaluate("for (const one of document.querySelectorAll('details')) one.open = true")
        page.screenshot(path=PICTURES / "begin-named-1280.png", full_page=True)
        page.context.close()


def _shoot_one(browser: Browser, address: str, picture: str) -> None:
    """The top of one page in the size that docs/ shows."""
    page = _opened(browser, address, "1280")
    across, high = DOCS_SIZE
    page.set_viewport_size({"width": across, "height": PLAN_HIGH if picture == "plan-failed" else high})
    page.goto(f"{address.partition('/?')[0]}/{ADDRESSES.get(picture, picture)}")
    page.screenshot(path=PICTURES / f"{picture}-docs.png")
    page.context.close()


def _shoot_cards(browser: Browser, address: str) -> None:
    """A rollout by hand that waits for its first cards: pinned in the demo's journal, and left at work."""
    page = _opened(browser, address, "1280")
    page.goto(f"{address.partition('/?')[0]}/run?of=rollout")
    page.click("#list")
    page.wait_for_selector("#agreed")
    page.check("#agreed")
    page.click("text=Begin the rollout")
    page.wait_for_selector(".card")
    for way, (width, scheme) in WAYS.items():
        page.set_viewport_size({"width": width, "height": 800})
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        page.screenshot(path=PICTURES / f"run-cards-{way}.png", full_page=width < 1280)
    page.context.close()


if __name__ == "__main__":
    sys.exit(main(docs="--docs" in sys.argv[1:]))
