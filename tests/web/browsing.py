"""Debian's Chromium, driven for the tests of the pages: one browser a test file, a context of its own for each test. Not a test."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Browser, Page, sync_playwright

from tests.web.served import Server

__all__ = ["DEADLINE_MS", "Visit", "browser_of", "visit"]

CHROMIUM: Final = Path("/usr/bin/chromium")
DEADLINE_MS: Final = 180_000


class Visit:
    """One page of one server, with what it fetched and what it complained of."""

    def __init__(self, page: Page, server: Server) -> None:
        self.page = page
        self.server = server
        self.fetched: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.fetched.append(request.url))
        page.on("console", lambda message: self._heard(message.type, message.text))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))

    def _heard(self, kind: str, text: str) -> None:
        if kind in ("error", "warning"):
            self.complaints.append(text)

    def go(self, path: str) -> None:
        """Load one address of the server."""
        self.page.goto(self.server.base + path)


@contextmanager
def browser_of() -> Iterator[Browser]:
    """The browser, ended with the block. Skips where it is not installed (make test as root installs it)."""
    if not CHROMIUM.exists():
        if os.environ.get("CI") == "true":
            pytest.fail(f"{CHROMIUM} is not installed")
        pytest.skip("Debian's chromium is not installed")
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def visit(
    browser: Browser, server: Server, *, width: int = 1280, dark: bool = False, with_script: bool = True
) -> Iterator[Visit]:
    """A fresh visitor who was let in before: with the cookie, and nothing opened yet."""
    context = browser.new_context(
        viewport={"width": width, "height": 800},
        color_scheme="dark" if dark else "light",
        java_script_enabled=with_script,
    )
    context.set_default_timeout(DEADLINE_MS)
    context.grant_permissions(["clipboard-read", "clipboard-write"])
    name, _, value = server.cookie.partition("=")
    context.add_cookies([{"name": name, "value": value, "url": server.base, "sameSite": "Strict"}])
    try:
        visitor = Visit(context.new_page(), server)
        yield visitor
    finally:
        context.close()
