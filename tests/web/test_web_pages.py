"""Every sheet as a document: whole, self-contained, escaped, the same data as JSON; and errors in their four parts."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from staddle import __version__
from staddle.dossier import ink
from staddle.jobs.folder import JobFolder
from staddle.kernel import SystemClock, SystemRandom
from staddle.web.catalogue import all_sheets
from staddle.web.serving import Reply, get_once
from staddle.web.words import SHEET_OF, sheet_for
from tests.cli.demo_job import demo_job, settle, staddle

SHEETS = [sheet.name for sheet in all_sheets()]
STYLE = Path(__file__).parents[2] / "src" / "staddle" / "web" / "paper" / "sheet.css"


class Page(HTMLParser):
    """What a document holds, read with the standard library's parser."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = dict(attrs)
        self.tags.append((tag, named))
        if (found := named.get("id")) is not None:
            self.ids.append(found)

    def handle_data(self, data: str) -> None:
        self.text += f"{data} "


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = demo_job(tmp_path_factory.mktemp("pages"))
    settle(folder)
    return folder


def get(job: Path, path: str) -> Reply:
    return get_once(JobFolder(root=job), path, clock=SystemClock(), random=SystemRandom(), actor="W. Marram")


@pytest.fixture(scope="module")
def pages(job: Path) -> dict[str, str]:
    return {name: get(job, f"/{name}").body.decode() for name in SHEETS}


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_is_whole_and_has_its_place_in_the_title_block(pages: dict[str, str], name: str) -> None:
    sheet = next(one for one in all_sheets() if one.name == name)
    page = Page(pages[name])
    assert len(page.ids) == len(set(page.ids))
    assert [tag for tag, _ in page.tags].count("h1") == 1
    current = [
        named["href"] for tag, named in page.tags if tag == "a" and named.get("aria-current") == "page"
    ]
    assert current == [f"/{name}"]
    words = " ".join(page.text.split())
    assert f"title {sheet.title} revision of the design" in words
    assert f"sheet {SHEETS.index(name) + 1} of {len(SHEETS)} drawn R. Fenwold checked" in words
    assert "cluster Ousemoor levels job levels change OM-2611" in words


@pytest.mark.parametrize("name", SHEETS)
def test_a_page_fetches_nothing_from_elsewhere_and_brings_no_script_or_style_inside(
    pages: dict[str, str], name: str
) -> None:
    page = Page(pages[name])
    for tag, named in page.tags:
        for key, value in named.items():
            assert not key.startswith("on"), (tag, key)
            assert key != "style", tag
            if key in ("src", "href", "action", "formaction", "data-live", "data-page"):
                assert re.match(r"/(?!/)|#", value or ""), (tag, key, value)
        assert tag not in ("style", "object", "embed", "base"), tag
        if tag == "script":
            assert named.get("src") == "/paper/sheet.js"
    paper = STYLE.parent
    assert not re.search(r"@import|url\(", STYLE.read_text(encoding="utf-8"))
    assert not re.search(r"https?://|import[ (]", (paper / "sheet.js").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", SHEETS)
def test_every_field_has_its_label_and_every_form_its_button(pages: dict[str, str], name: str) -> None:
    page = Page(pages[name])
    labelled = {named.get("for") for tag, named in page.tags if tag == "label"}
    for tag, named in page.tags:
        if tag in ("input", "select", "textarea") and named.get("type") != "hidden":
            assert named.get("id") in labelled, (name, named)
    tags = [tag for tag, _ in page.tags]
    assert tags.count("button") >= tags.count("form")


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_is_a_json_document_in_the_envelope_too(job: Path, name: str) -> None:
    reply = get(job, f"/{name}.json")
    told = json.loads(reply.body)
    assert (reply.status, reply.media_type) == (200, "application/json")
    assert set(told) == {"staddle", "form", "command", "outcome", "data"}
    assert (told["staddle"], told["form"], told["command"], told["outcome"]) == (__version__, 1, name, "told")
    assert isinstance(told["data"], dict)


def test_looking_at_every_sheet_writes_nothing(job: Path) -> None:
    def there() -> dict[Path, int]:
        return {path: path.stat().st_mtime_ns for path in sorted(job.parent.rglob("*")) if path.is_file()}

    before = there()
    for name in SHEETS:
        get(job, f"/{name}")
    get(job, "/package?compared=yes")
    get(job, "/findings?whole=yes")
    assert there() == before


def test_what_the_design_says_is_shown_as_text(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    settle(job)
    name = '<script>alert("a&b")</script>'
    text = (job / "design.yaml").read_text(encoding="utf-8")
    text = text.replace("cluster: Ousemoor levels", f"cluster: '{name}'").replace(
        "engineer: R. Fenwold", "engineer: '\"><img src=x onerror=alert(1)>'"
    )
    (job / "design.yaml").write_text(text, encoding="utf-8")
    seen = 0
    for sheet in SHEETS:
        reply = get(job, f"/{sheet}")
        page = Page(reply.body.decode())
        assert not [tag for tag, _ in page.tags if tag == "img"], sheet
        assert [named.get("src") for tag, named in page.tags if tag == "script"] == ["/paper/sheet.js"], sheet
        seen += name in page.text
    assert seen == len(SHEETS)


def test_a_design_with_faults_tells_them_on_every_sheet_that_needs_it(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    text = (job / "design.yaml").read_text(encoding="utf-8")
    (job / "design.yaml").write_text(text.replace("size: river", "size: [river"), encoding="utf-8")
    assert get(job, "/standing").status == 200  # it tells faults as the overview does
    for name in ("findings", "answers", "requests", "package", "run", "jobs"):
        reply = get(job, f"/{name}")
        page = Page(reply.body.decode())
        assert reply.status == 422, name
        assert "This sheet cannot be drawn" in page.text
        assert "design.yaml:" in page.text
        told = json.loads(get(job, f"/{name}.json").body)
        assert (told["outcome"], told["data"]["kind"]) == ("error", "InputRefused")
        assert set(told["data"]["faults"][0]) == {"what", "where", "why", "mend"}


@pytest.mark.parametrize(
    ("path", "what"),
    [
        ("/nowhere", "there is no page at /nowhere"),
        ("/findings?severity=bad", 'there is no severity "bad"'),
        ("/run?of=holiday", 'there is no run card of "holiday"'),
        ("/answers?member=levels-9", 'there is no member "levels-9"'),
        ("/journal?rollout=levels-rollout-9", 'the journal has no rollout "levels-rollout-9"'),
    ],
)
def test_an_address_that_asks_for_what_is_not_there_is_refused(job: Path, path: str, what: str) -> None:
    reply = get(job, path)
    assert reply.status in (404, 422)
    assert what in Page(reply.body.decode()).text


def test_the_filter_of_findings_stands_in_the_address(job: Path) -> None:
    def shown(query: str) -> list[str]:
        data = json.loads(get(job, f"/findings.json?{query}").body)["data"]
        return [f"{one['severity']} {one['rule']}" for one in data["shown"]]

    everything = shown("")
    assert len(everything) > 3
    assert shown("severity=risk") == [one for one in everything if one.startswith("risk ")]
    assert shown("about=zone%20reserved") == ["note zone-reserved"]
    assert shown("severity=stop&about=zone") == []


def test_one_request_without_a_server_ends_with_its_code(job: Path) -> None:
    done = staddle("serve", "--get", "/standing", job=job)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("<!DOCTYPE html>")
    refused = staddle("serve", "--get", "/nowhere", "--json", job=job)
    told = json.loads(refused.stdout)
    assert (refused.returncode, told["outcome"], told["data"]["status"]) == (1, "refused", 404)


def test_the_style_knows_the_colours_of_the_drawings() -> None:
    style = STYLE.read_text(encoding="utf-8")
    for colour in (ink.INK, ink.PALE, ink.PAPER, ink.ACCENT):
        assert f'svg [fill="{colour}"]' in style
        assert f'svg [stroke="{colour}"]' in style


def luminance(colour: str) -> float:
    """WCAG 2.2, relative luminance of an sRGB colour."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_lettering_stands_out_on_the_paper_in_light_and_dark() -> None:
    # WCAG 2.2 §1.4.3: 4.5 : 1 for text; §1.4.11: 3 : 1 for marks and frames.
    sets = re.findall(r":root \{([^}]*--ink[^}]*)\}", STYLE.read_text(encoding="utf-8"))
    assert len(sets) == 2
    for rules in sets:
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", rules))
        for name in ("ink", "pale", "accent"):
            low, high = sorted((luminance(colours[name]), luminance(colours["paper"])))
            assert (high + 0.05) / (low + 0.05) >= 4.5, (name, rules)


def test_next_leads_to_a_sheet_where_one_does_the_work() -> None:
    assert sheet_for("staddle review --job x") == "findings"
    assert sheet_for("staddle back-out --rehearsal") == sheet_for("staddle") == ""
    assert set(SHEET_OF.values()) <= set(SHEETS)


def test_every_sheet_is_told_of_in_the_pages_page() -> None:
    page = (Path(__file__).parents[2] / "docs" / "pages.md").read_text(encoding="utf-8")
    assert re.findall(r"^\| `/([a-z-]+)` \|", page, re.MULTILINE) == SHEETS


def test_the_index_of_jobs_knows_its_neighbours(tmp_path: Path) -> None:
    job = demo_job(tmp_path)
    other = tmp_path / "tides"
    other.mkdir()
    text = (job / "design.yaml").read_text(encoding="utf-8").replace("name: levels", "name: tides", 1)
    (other / "design.yaml").write_text(text, encoding="utf-8")
    broken = tmp_path / "weirs"
    broken.mkdir()
    (broken / "design.yaml").write_text("job: [", encoding="utf-8")
    data = json.loads(get(job, "/jobs.json").body)["data"]
    assert [(one["standing"]["job"], one["is_this"]) for one in data["jobs"]] == [
        ("levels", True),
        ("tides", False),
    ]
    assert data["unreadable"] == [str(broken)]
