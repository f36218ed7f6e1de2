"""The HTML form: fetches nothing, reads well aloud, and text stays text."""

import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise

from lxml import etree, html

from staddle.dossier.contents import contents
from staddle.dossier.html import html_text
from staddle.dossier.model import Report
from tests.dossier.reports import NAMES, digest, fingerprint, report


def _page(made: Report) -> html.HtmlElement:
    return html.document_fromstring(html_text(made))


def test_nothing_is_fetched_and_nothing_runs() -> None:
    page = _page(report())
    assert not list(page.iter("script", "link", "img", "iframe", "object", "embed", "form"))
    for element in page.iter(etree.Element):
        for name, value in element.attrib.items():
            assert not str(name).startswith("on")
            assert name not in ("src", "srcset", "action"), (element.tag, name)
            assert name != "style" or re.fullmatch(r"width: [\d.]+%", str(value))
            assert name != "href" or str(value).startswith("#")
    style = page.findtext(".//style") or ""
    assert "url(" not in style
    assert "@import" not in style


def test_every_section_digest_and_fingerprint_is_there() -> None:
    page = _page(report())
    text = page.text_content()
    for section in contents(report()):
        assert section.title in text
    for what in ("ova", "ovf", "system", "design", "estate", "profile", "root"):
        assert digest(what) in text
    for what in (*NAMES, "10", "12"):  # the last evidence of their steps
        assert fingerprint(what) in text


def test_headings_go_down_one_level_at_a_time() -> None:
    levels = [int(heading.tag[1]) for heading in _page(report()).iter("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(later <= earlier + 1 for earlier, later in pairwise(levels))


def test_tables_have_captions_and_heads_with_scope() -> None:
    # WCAG 2.2 technique H39 (captions) and H63 (scope).
    tables = list(_page(report()).iter("table"))
    assert len(tables) > 6
    for table in tables:
        assert (table.findtext("caption") or "").strip()
        assert all(head.attrib.get("scope") in ("col", "row") for head in table.iter("th"))
        columns = len(table.findall("thead/tr/th"))
        for row in table.findall("tbody/tr"):
            spanned = sum(int(cell.attrib.get("colspan", 1)) for cell in row)
            assert spanned == columns - ("below" in row.attrib.get("class", ""))


def test_ids_are_unique_and_every_reference_has_its_target() -> None:
    page = _page(report())
    ids = Counter(str(i) for i in page.xpath("//@id"))
    assert max(ids.values()) == 1
    targets = {str(h)[1:] for h in page.xpath("//@href")} | {str(i) for i in page.xpath("//@aria-labelledby")}
    filled = {str(f)[5:-1] for f in page.xpath("//@fill") if str(f).startswith("url(#")}
    assert targets | filled <= set(ids)
    assert filled


def test_language_and_title_are_stated() -> None:
    page = _page(report())
    assert page.attrib["lang"] == "en-GB"
    assert page.findtext(".//title") == "Record of Ousemoor levels, revision A"


def test_markup_in_any_text_stays_text() -> None:
    evil = "</style></svg><script>alert('x')</script>{{ 7 * 7 }} & \"quoted\" <b>"
    made = report()
    assert made.journal is not None
    line = replace(made.journal.lines[0], step=evil, event=evil, actor=evil, evidence=((evil, evil),))
    made = replace(
        made,
        status=evil,
        revision=evil,
        job=replace(made.job, cluster=evil, engineer=evil),
        kept=(replace(made.kept[0], what=evil),),
        cautions=(evil,),
        journal=replace(made.journal, lines=(line,)),
    )
    page = _page(made)
    assert not list(page.iter("script", "b"))
    assert page.text_content().count(evil) >= 12


def test_characters_that_turn_or_hide_text_are_shown() -> None:
    text = _page(replace(report(), status="log\u202e1\x1b[2J")).text_content()
    assert "log\\u{202e}1\\u{1b}[2J" in text


def test_the_same_report_gives_the_same_page() -> None:
    assert html_text(report()) == html_text(report())
