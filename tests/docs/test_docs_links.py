"""Every relative link in the project's pages leads to a file that is there, and every anchor to a heading."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGES = sorted(
    page
    for page in ROOT.rglob("*.md")
    if not any(part.startswith(".") or part == "build" for part in page.relative_to(ROOT).parts)
)
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
FENCED = re.compile(r"^```.*?^```", re.MULTILINE | re.DOTALL)


def anchors(page: Path) -> set[str]:
    """The headings' names as links use them: lower case, blanks as hyphens, marks left out."""
    text = FENCED.sub("", page.read_text(encoding="utf-8"))
    return {
        re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")
        for heading in re.findall(r"^#+ +(.+?) *$", text, re.MULTILINE)
    }


def dead_links(page: Path, text: str) -> list[str]:
    dead = []
    for goal in LINK.findall(FENCED.sub("", text)):
        if re.match(r"[a-z]+:", goal):
            continue
        name, _, anchor = goal.partition("#")
        target = (page.parent / name) if name else page
        if not target.exists() or (anchor and anchor not in anchors(target)):
            dead.append(goal)
    return dead


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.relative_to(ROOT).as_posix())
def test_links_lead_somewhere(page: Path) -> None:
    assert dead_links(page, page.read_text(encoding="utf-8")) == []


def test_pages_are_found_and_a_dead_link_is_seen(tmp_path: Path) -> None:
    assert ROOT / "docs" / "architecture.md" in PAGES
    page = tmp_path / "page.md"
    page.write_text("# One thing\n", encoding="utf-8")
    text = "[a](page.md) [b](page.md#one-thing) [c](gone.md) [d](page.md#two) [e](https://x.example/)"
    assert dead_links(page, text) == ["gone.md", "page.md#two"]
