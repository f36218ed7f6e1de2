"""Answer sheets: nothing lost, nothing secret, and every form reads back."""

import csv
import io
from datetime import date

from hypothesis import given
from hypothesis import strategies as st
from lxml import html

from staddle.answers.model import AnswerRow
from staddle.answers.sheets import (
    Sheet,
    SheetRow,
    SheetSection,
    answer_sections,
    sheet_csv,
    sheet_html,
    sheet_text,
)
from staddle.kernel.cautions import CAUTIONS


def row(label: str = "Log level", value: str | None = "info", **changes: object) -> AnswerRow:
    facts: dict[str, object] = {
        "key": "sluicelog.x",
        "label": label,
        "category": "Service",
        "value": value,
        "secret": "",
        "reason": "the package's default",
        "is_open": False,
    }
    return AnswerRow(**{**facts, **changes})  # type: ignore[arg-type]  # the test's own values


def sheet_of(*sections: SheetSection) -> Sheet:
    return Sheet(
        job="levels",
        cluster="Ousemoor levels",
        change="OM-2611",
        member="levels-1",
        drawn="R. Fenwold",
        made_on=date(2026, 11, 25),
        number=1,
        count=3,
        sections=sections,
    )


def test_answers_stand_by_category_in_the_packages_order() -> None:
    rows = [row("a"), row("b"), row("c", category="Cluster"), row("d")]
    sections = answer_sections(rows)
    assert [(s.title, [r.label for r in s.rows]) for s in sections] == [
        ("Service", ["a", "b"]),
        ("Cluster", ["c"]),
        ("Service", ["d"]),
    ]


def test_a_secret_is_told_by_its_name_in_the_strongbox() -> None:
    (section,) = answer_sections([row(value=None, secret="administrator/first")])
    assert section.rows[0].value == (
        "secret: in the strongbox as administrator/first; the run card shows it when it is to be typed"
    )
    assert section.rows[0].is_secret


def test_an_open_question_cannot_be_overlooked() -> None:
    (section,) = answer_sections([row(value=None, is_open=True)])
    text = sheet_text(sheet_of(section))
    assert "OPEN: nothing answers this yet" in text
    page = html.fromstring(sheet_html([sheet_of(section)]))
    assert len(page.findall(".//tr[@class='open']")) == 1


def test_an_empty_answer_is_told_as_such() -> None:
    (section,) = answer_sections([row(value="")])
    assert section.rows[0].value == "(leave empty)"


def test_every_form_carries_the_cautions_and_a_place_to_sign() -> None:
    sheet = sheet_of(*answer_sections([row()]))
    page = "".join(map(str, html.fromstring(sheet_html([sheet])).itertext()))
    for text in (sheet_text(sheet), page):
        assert "typed by" in text
        assert "checked by" in text
        assert all(caution in text for caution in CAUTIONS)


printable = st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=30)


@given(st.lists(st.tuples(printable, printable), min_size=1, max_size=6))
def test_csv_reads_back_and_starts_no_formula(pairs: list[tuple[str, str]]) -> None:
    rows = tuple(SheetRow(label=label, value=value) for label, value in pairs)
    text = sheet_csv(sheet_of(SheetSection(title="Service", rows=rows)))
    back = list(csv.DictReader(io.StringIO(text, newline="")))
    assert [(line["label"].removeprefix("'"), line["value"].removeprefix("'")) for line in back] == [
        (label.removeprefix("'"), value.removeprefix("'")) for label, value in pairs
    ]
    assert not [cell for line in back for cell in line.values() if cell.startswith(("=", "+", "-", "@"))]


@given(printable)
def test_html_shows_any_text_as_text(value: str) -> None:
    text = sheet_html([sheet_of(SheetSection(title="Service", rows=(SheetRow(label="Value", value=value),)))])
    page = html.fromstring(text)
    shown = page.find(".//span[@class='value']")
    assert shown is not None
    assert "".join(map(str, shown.itertext())) == value
    assert [
        found
        for name in ("script", "img", "link", "iframe")
        if (found := page.find(f".//{name}")) is not None
    ] == []


def test_a_list_may_break_after_its_commas_so_that_no_address_is_parted() -> None:
    row = SheetRow(label="NTP servers", value="192.0.2.1,192.0.2.2")
    text = sheet_html([sheet_of(SheetSection(title="Service", rows=(row,)))])
    assert '<span class="value">192.0.2.1,<wbr>192.0.2.2</span>' in text


def test_the_page_fetches_nothing() -> None:
    text = sheet_html([sheet_of()])
    assert "default-src 'none'" in text
    assert "http://" not in text
    assert "https://" not in text


def test_markup_in_a_value_stays_text() -> None:
    text = sheet_html(
        [sheet_of(SheetSection(title="x", rows=(SheetRow(label="a", value="<script>alert(1)</script>"),)))]
    )
    assert "<script>" not in text
