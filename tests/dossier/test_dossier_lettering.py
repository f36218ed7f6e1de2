"""Lettering: what a text becomes before it enters a drawing."""

from xml.sax.saxutils import unescape

from hypothesis import given
from hypothesis import strategies as st
from lxml import etree

from staddle.dossier.lettering import clean, shorten, width, written


@given(text=st.text())
def test_any_text_is_well_formed_xml_and_reads_back(text: str) -> None:
    # lxml is the judge of what XML 1.0 §2.2 allows.
    element = etree.fromstring(f'<t a="{written(text)}">{written(text)}</t>'.encode())
    assert (element.text or "") == element.attrib["a"] == clean(text)


@given(text=st.text(), room=st.floats(0, 200))
def test_a_shortened_text_fits(text: str, room: float) -> None:
    assert width(shorten(text, room, 10), 10) <= max(room, 0)


def test_both_ends_of_a_name_are_kept() -> None:
    assert shorten("sluicelog-north-01", 9 * 6.03, 10) == "slui…h-01"


def test_what_fits_is_left_alone() -> None:
    assert shorten("om-h01", 100, 11) == "om-h01"


def test_characters_that_hide_or_turn_text_become_visible() -> None:
    assert clean("a\u202eb\x00c\nd") == "a\\u{202e}b\\u{0}c d"


def test_escaping_is_undone_by_any_reader() -> None:
    assert unescape(written("<a & 'b'>"), {"&#39;": "'"}) == "<a & 'b'>"
