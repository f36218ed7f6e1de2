"""How long the plan of a large estate takes: drawn first, asked what a failure does, and both as a browser sees it."""

import asyncio
import re
import select
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

from bench.large_estate import LargeEstate, large_estate
from bench.measure import Measure
from demo.sluicelog_package import build_package
from staddle.estate.writing import write_estate
from staddle.jobs.folder import JobFolder
from staddle.jobs.place import place, settle
from staddle.kernel import SystemClock, SystemRandom
from staddle.web.guard import Keys
from staddle.web.serving import ask_once
from staddle.web.workplace import Workplace

__all__ = ["TITLE", "large_job", "measure"]

TITLE = "The plan of a large estate on a page"
_FIRST_S = 1.0
_ASKED_S = 0.2
_CHROMIUM = Path("/usr/bin/chromium")
_DESIGN = Path(__file__).parents[1] / "demo" / "levels" / "design.yaml"


def large_job(place_at: Path, wanted: LargeEstate) -> JobFolder:
    """The demo's design on a large estate, its placement settled."""
    now = datetime.now(UTC)
    (place_at / "estate").mkdir()
    build_package(place_at)
    estate = replace(large_estate(wanted), surveyed=now.date() - timedelta(days=1))
    write_estate(estate, place_at / "estate")
    job = place_at / "levels"
    job.mkdir()
    text = _DESIGN.read_text(encoding="utf-8").replace(", site: Ousemoor", "")
    text = text.replace("om-management", "management").replace("om-telemetry", "data")
    text = text.replace("apart: [host, rack, pool]", "apart: [host, rack]")
    (job / "design.yaml").write_text(text, encoding="utf-8")
    folder = JobFolder(root=job)
    settle(place(folder, now), by="bench", on=now.date())
    return folder


def measure(folder: Path) -> tuple[Measure, ...]:
    """One server's work in this process, then a server and a browser of their own."""
    wanted = LargeEstate()
    job = large_job(folder, wanted)
    clock, random = SystemClock(), SystemRandom()
    keys = Keys(hosts=("127.0.0.1:0",), token="", cookie=random.token(8).hex(), cookie_name="bench")
    workplace = Workplace(folder=job, clock=clock, random=random, actor="bench", patience_s=600.0)

    def get(path: str) -> int:
        reply = asyncio.run(ask_once(workplace, keys, path))
        if reply.status != 200:
            raise RuntimeError(f"{path}: {reply.status}")
        return len(reply.body)

    reading_s, _ = _spent(lambda: get("/plan"))
    first_s, size = _spent(lambda: get("/plan"))
    failures = [f"h{n:04}" for n in range(0, wanted.hosts, 97)] + [f"r{n:03}" for n in range(0, 200, 19)]
    failures += [f"p{n:02}-1" for n in range(0, 20, 3)]
    asked = sorted(_spent(partial(get, f"/plan?fail={name}"))[0] for name in failures)
    figures = [
        Measure(
            what="reading a settled job when the server starts",
            value=reading_s,
            unit="s",
            beside=f"{wanted.told()}; in the background",
        ),
        Measure(
            what="the plan drawn, processor time",
            value=first_s,
            unit="s",
            bound=_FIRST_S,
            beside=f"{size // 1000} kB of page; racks small, those with members whole",
        ),
        Measure(
            what="a failure asked, processor time, the slowest",
            value=asked[-1],
            unit="s",
            bound=_ASKED_S,
            beside=f"{len(asked)} hosts, racks and pools, each alone; in the middle {asked[len(asked) // 2]:.3f} s",
        ),
    ]
    return (*figures, *(_in_browser(job) if _CHROMIUM.exists() else ()))


def _spent(work: Callable[[], int]) -> tuple[float, int]:
    begun = time.process_time()
    found = work()
    return time.process_time() - begun, found


def _in_browser(job: JobFolder) -> Iterator[Measure]:
    from playwright.sync_api import sync_playwright

    with _served(job) as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=_CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        page.set_default_timeout(300_000)
        page.goto(address)
        base = address.partition("/?")[0]
        page.goto(f"{base}/plan")
        page.wait_for_selector(".plan svg")  # read by now
        paints = []
        for _ in range(3):
            page.goto(f"{base}/plan")
            page.wait_for_function(f"() => {_PAINTED}.length > 0")
            paints.append(page.evaluate(f"{_PAINTED}[0].startTime"))
        yield Measure(
            what="the plan opened in a browser, until its first paint",
            value=min(paints) / 1000,
            unit="s",
            bound=_FIRST_S,
            beside="on the clock, best of 3; server and browser on the same machine",
        )
        spent = [page.evaluate(_CLICK, name) for name in ("r003", "r050", "r101", "r150", "r007")]
        browser.close()
    yield Measure(
        what="a rack failed by a click, until the page shows what comes of it",
        value=min(spent) / 1000,
        unit="s",
        beside=f"on the clock, best of {len(spent)}, layout and paint included",
    )


_PAINTED = "performance.getEntriesByName('first-contentful-paint')"
_CLICK = """
(name) => new Promise((done) => {
  const begun = performance.now();
  const shown = () => document.getElementById("says")?.textContent.includes(`rack ${name}`);
  const watch = new MutationObserver(() => {
    if (!shown()) return;
    watch.disconnect();
    requestAnimationFrame(() => setTimeout(() => done(performance.now() - begun)));
  });
  watch.observe(document.querySelector("main"), { childList: true, subtree: true });
  document.querySelector(`.plan a[aria-label^="rack ${name}:"][id^="plan-rack"]`).dispatchEvent(new MouseEvent("click", { bubbles: true, cancelable: true }));
})
"""


@contextmanager
def _served(job: JobFolder) -> Iterator[str]:
    command = [sys.executable, "-m", "staddle", "serve", "--job", str(job.root)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    assert process.stdout is not None
    try:
        select.select([process.stdout], [], [], 120)
        address = process.stdout.readline().strip()
        if not re.match("http://127", address):
            raise RuntimeError("the server did not start")
        yield address
    finally:
        process.terminate()
        process.wait(timeout=60)
        process.stdout.close()
