"""A whole rollout by hand on the page: a test that plays the person with nothing but what the cards show there.

Its machines are real stand-ins that the person starts with exactly these values; fingerprints come from their consoles.
"""

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.cli.demo_job import staddle
from tests.jobs.test_by_hand_rollout import SECRET_NOTE, Card, Person, at_work, journal
from tests.web.browsing import DEADLINE_MS, browser_of, visit
from tests.web.served import Server, served

pytestmark = pytest.mark.xdist_group("web-by-hand")

expect.set_options(timeout=DEADLINE_MS)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with browser_of() as found:
        yield found


def begin(page: Page) -> None:
    """List, agree, begin: as whoever carries the rollout out."""
    page.click("#list")
    page.wait_for_selector("#agreed")
    page.check("#agreed")
    page.click("text=Begin the rollout")
    page.wait_for_selector("#hold")


def read(card: Locator) -> Card:
    """One card as it stands on the page, its secrets shown."""
    for show in card.get_by_role("button", name="Show ").all():
        show.click()
        expect(card.locator(".secret")).to_have_count(1)
    found = Card(
        member=card.locator("p.small").first.inner_text().partition(" · ")[0],
        step=card.locator("input[name=step]").last.input_value(),
        title=card.locator("h2").inner_text().partition(" ")[2].partition(" ")[2].strip(),
        lines=card.locator("ol > li").all_inner_texts(),
        entry=card.locator("input[name=entry]").get_attribute("required") is not None,
    )
    for row in card.locator("dl.facts > div").all():
        note = SECRET_NOTE if row.locator(".secret").count() else ""
        found.values[row.locator("dt").inner_text()] = row.locator("dd > .fixed").first.inner_text() + note
    return found


def next_card(page: Page) -> Locator | None:
    """The first card on the page; None when the rollout has stopped instead."""
    page.wait_for_function(
        "() => document.querySelector('.card') || !document.querySelector('#hold')", timeout=DEADLINE_MS
    )
    cards = page.locator(".card")
    return cards.first if cards.count() else None


def carry_out(page: Page, person: Person, *, most: int = 1000) -> int:
    """Do and sign cards until there are none. Returns: how many."""
    done = 0
    while done < most and (card := next_card(page)) is not None:
        number = card.get_attribute("id")
        typed = person.answer(read(card))
        card.locator("input[name=entry]").fill(typed)
        card.get_by_role("button", name="sign").click()
        expect(page.locator(f"#{number}")).to_have_count(0)
        done += 1
    return done


def served_to(job: Path, browser: Browser) -> Iterator[tuple[Server, Page]]:
    with served(job) as server, visit(browser, server) as visitor:
        visitor.go("/run?of=rollout")
        yield server, visitor.page


def test_cards_on_the_page_are_enough_to_carry_a_whole_rollout(tmp_path: Path, browser: Browser) -> None:
    with at_work(tmp_path) as (job, person):
        for _, page in served_to(job, browser):
            begin(page)
            carry_out(page, person, most=2)
            # Somebody is typing on one card while another is signed: what they typed stays.
            typed_on, signed = (
                page.locator(f".card:has([value='levels-{n}/deliver-disk/data'])") for n in (3, 2)
            )
            typed_on.locator("input[name=entry]").fill("carried by hand on a disk")
            signed.get_by_role("button", name="sign").click()
            expect(signed).to_have_count(0)
            expect(page.locator("[data-part=sentence]")).to_contain_text("5 of 40 steps seen done")
            assert typed_on.locator("input[name=entry]").input_value() == "carried by hand on a disk"
            page.click("#hold")
            page.wait_for_selector("#go-on")
            assert page.locator(".card").count() == 0
        # The server is another one now; the journal is the same.
        for server, page in served_to(job, browser):
            assert "levels-rollout-1 stands at 5 of 40 steps" in page.inner_text("[data-part=sentence]")
            page.click("#go-on")
            page.wait_for_selector("#hold")
            carry_out(page, person)
            expect(page.locator("[data-part=sentence]")).to_contain_text(
                "is sealed: 40 of 40 steps seen done"
            )
            told = server.get("/run.json?of=rollout").body + server.get("/run?of=rollout").body
            assert person.first_password
            assert person.first_password not in told
        entries = journal(job)
        for member in ("levels-1", "levels-2", "levels-3"):
            confirmed = entries[f"{member}/confirm-fingerprint"][-1]["evidence"]
            assert confirmed["fingerprint"] == person.fingerprint(member)
            created = entries[f"{member}/create-machine"][-1]
            assert (created["event"], created["evidence"]["seen"]) == ("seen done", False)
            assert created["evidence"]["signed_by"] == "R. Fenwold"
        assert json.loads(staddle("prove", "--json", job=job).stdout)["outcome"] == "good"
        kept = [path for path in job.rglob("*") if path.is_file()]
        for path in kept:
            assert person.first_password.encode() not in path.read_bytes(), path


def test_what_a_card_refuses_is_told_and_a_secret_needs_its_card(tmp_path: Path, browser: Browser) -> None:
    with at_work(tmp_path) as (job, _):
        for server, page in served_to(job, browser):
            begin(page)
            page.wait_for_selector(".card")
            first = page.locator(".card").first
            first.locator("input[name=by]").fill("   ")
            first.get_by_role("button", name="sign").click()
            expect(page.locator("[role=alert]")).to_contain_text("the name of who signs is empty")
            step = first.locator("input[name=step]").input_value()
            # Twice at once from two browsers: the second is told that the card is gone.
            form = {"of": "rollout", "step": step, "by": "J. Harrow", "entry": ""}
            assert server.post("/run/sign", form).status == 303
            gone = server.post("/run/sign", form)
            assert (gone.status, "this card is not open any more" in gone.body) == (409, True)
            reveal = {"of": "rollout", "step": step, "name": "administrator/first"}
            refused = server.post("/run/reveal", reveal)
            assert (refused.status, "no open card asks for that secret" in refused.body) == (409, True)
            # One rollout at a time, here and in a terminal.
            again = server.post("/run/go-on", {"of": "rollout"})
            assert (again.status, "is at work already" in again.body) == (409, True)
            beside = staddle("rollout", job=job)
            assert beside.returncode == 1
            assert "this rollout is being carried out by" in beside.stderr
            unagreed = server.post("/run/begin", {"of": "rehearsal"})
            assert (unagreed.status, "was not agreed to" in unagreed.body) == (422, True)
            page.get_by_role("button", name="Later").first.click()
            page.click("#hold")
            page.wait_for_selector("#go-on")
            assert server.post("/run/go-on", {"of": "rehearsal"}).status == 409
