"""Availability in the record: the bars, the section, its place among the others."""

from dataclasses import replace

import pytest
from lxml import etree

from staddle.dossier.availability_drawing import availability_sentence, availability_svg
from staddle.dossier.contents import contents
from staddle.dossier.html import html_text
from staddle.dossier.pdf import pdf_bytes
from staddle.survival.availability import Availability, availability_of
from staddle.survival.cluster import Cluster, Standing
from staddle.survival.rates import starting_rates
from tests.dossier.lettered import SVG, letters, outside, overlaps
from tests.dossier.reports import report


class Fixed:
    """The port of chance with bytes that are always the same."""

    def token(self, length_bytes: int) -> bytes:
        return bytes(length_bytes)


def found(*names: str) -> Availability:
    """Members on a host each, all in one rack at one site."""
    cluster = Cluster(
        members=tuple(
            Standing(
                member=name,
                domains=(("host", f"h{i}"), ("rack", "R1"), ("site", "Ousemoor")),
                leads=("first", "second", "never")[min(i, 2)],
            )
            for i, name in enumerate(names)
        )
    )
    return availability_of(cluster, starting_rates(), there_are={"rack": 3}, random=Fixed())


@pytest.fixture(scope="module")
def three() -> Availability:
    return found("log-1", "log-2", "log-3")


def test_no_text_touches_another_or_leaves_the_drawing(three: Availability) -> None:
    boxes, across, high = letters(availability_svg(three, cluster="Ousemoor levels"))
    assert len(boxes) > 40
    assert overlaps(boxes) == []
    assert outside(boxes, across, high) == []


def test_long_names_are_shortened_and_said_in_full() -> None:
    names = tuple(f"a-member-with-a-rather-long-name-{i}" for i in range(7))
    drawing = availability_svg(found(*names), cluster="c" * 90)
    boxes, across, high = letters(drawing)
    assert overlaps(boxes) == []
    assert outside(boxes, across, high) == []
    titles = [element.text or "" for element in etree.fromstring(drawing.encode()).iter(f"{SVG}title")]
    assert any(all(name in title for name in names) for title in titles)


def test_bars_are_as_long_as_their_decades_say(three: Availability) -> None:
    root = etree.fromstring(availability_svg(three, cluster="Ousemoor levels").encode())
    ticks = {
        element.text: float(element.attrib["x"])
        for element in root.iter(f"{SVG}text")
        if element.attrib.get("text-anchor") == "middle"
    }
    decade = ticks["10 min"] - ticks["1 min"]
    assert ticks["100 min"] - ticks["10 min"] == pytest.approx(decade, abs=0.02)
    group = next(g for g in root.iter(f"{SVG}g") if (g.findtext(f"{SVG}title") or "").startswith("as placed"))
    bar = group.find(f"{SVG}rect")
    assert bar is not None
    low, high = three.share.minutes
    assert float(bar.attrib["width"]) == pytest.approx(decade * (_log(high) - _log(low)), abs=0.05)
    assert float(bar.attrib["x"]) == pytest.approx(ticks["1 min"] + decade * _log(low), abs=0.05)


def _log(minutes: float) -> float:
    import math

    return math.log10(minutes)


def test_a_name_cannot_add_markup() -> None:
    drawing = availability_svg(found('<script>"1"</script>', "b&b", "c"), cluster="<b>")
    assert "<script" not in drawing
    etree.fromstring(drawing.encode())


def test_the_sentence_says_what_the_bars_show(three: Availability) -> None:
    said = availability_sentence(three)
    assert said.startswith("As placed: 99.9")
    assert "Largest cause: site Ousemoor, under log-1, log-2, log-3" in said
    assert "What helps most: 3 sites, one for each member" in said


def test_the_section_stands_after_the_placement_with_rates_and_assumptions(three: Availability) -> None:
    titles = [section.title for section in contents(replace(report(), availability=three))]
    assert titles[titles.index("Placement") + 1] == "Availability"
    page = html_text(replace(report(), availability=three))
    for text in (
        "Rates and their origin",
        "common practice, no source",
        "failures of a host",
        "Rates are ranges",
        "all members on one host",
        "members over 3 racks, which the estate has",
    ):
        assert text in page, text


def test_without_it_the_record_has_no_such_section() -> None:
    assert "Availability" not in [section.title for section in contents(report())]


def test_it_is_printed(three: Availability) -> None:
    longer, shorter = (pdf_bytes(replace(report(), availability=one)) for one in (three, None))
    assert longer.startswith(b"%PDF-")
    assert longer.count(b"/Type /Page\n") + longer.count(b"/Type/Page/") >= shorter.count(b"/Type /Page\n")
    assert len(longer) > len(shorter) + 5_000


def test_a_cluster_of_which_nothing_is_ranked_is_drawn(three: Availability) -> None:
    bare = replace(three, causes=(), improvements=())
    drawing = availability_svg(bare, cluster="Ousemoor levels")
    texts = [box.text for box in letters(drawing)[0]]
    assert "Down in a year" in texts
    assert not [text for text in texts if text.startswith(("Causes", "Improvements"))]
    never = replace(bare, share=replace(three.share, best=0.0, worst=0.0))
    never = replace(never, on_one_host=never.share, apart=never.share)
    assert "Down in a year" not in availability_svg(never, cluster="Ousemoor levels")
