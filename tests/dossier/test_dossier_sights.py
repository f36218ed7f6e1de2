"""Who sees whom, as text and as a drawing."""

from dataclasses import replace

import pytest
from lxml import etree

from staddle.dossier.sight_drawing import sight_svg, sight_text
from staddle.proof.model import Proof, Sight
from tests.dossier.lettered import SVG, letters, outside, overlaps
from tests.dossier.reports import bad_proof, proof


def test_a_good_proof_as_a_table_for_the_terminal() -> None:
    assert sight_text(proof()) == (
        "Who sees whom in Ousemoor levels, 2026-12-05 20:41:07 UTC: a row looks at a column.\n"
        "\n"
        "member  log-1     log-2     log-3\n"
        "log-1   –         hears     hears\n"
        "log-2   hears     –         hears\n"
        "log-3   hears     hears     –\n"
        "\n"
        "written through log-1: read the same through log-2, log-3\n"
        "written through log-2: read the same through log-1, log-3\n"
        "written through log-3: read the same through log-1, log-2\n"
        "\n"
        "Proven: all 3 checks are good, 3 rounds in a row agreed.\n"
    )


def test_a_bad_proof_says_what_is_wrong() -> None:
    text = sight_text(bad_proof())
    assert "log-1   –         hears     lost\n" in text
    assert "log-3   silent    silent    –\n" in text
    assert text.endswith(
        "NOT proven: 1 of 4 checks failed, 3 rounds in a row agreed.\n"
        "  log-1: hears log-3: expected True, saw False\n"
    )


def test_a_lost_write_is_named() -> None:
    good = proof()
    lost = replace(good.exchanges[0], reads=(("log-2", None), ("log-3", "v")))
    refused = replace(good.exchanges[1], written=False, why="it is read-only")
    text = sight_text(replace(good, exchanges=(lost, refused)))
    assert "written through log-1: read the same through log-3; NOT read through log-2\n" in text
    assert "written through log-2: failed: it is read-only\n" in text


def test_an_appliance_cannot_steer_the_terminal_with_its_names() -> None:
    steered = replace(proof(), cluster="\x1b[2Jgone\u202e", exchanges=())
    text = sight_text(steered)
    assert "\\u{1b}[2Jgone\\u{202e}" in text
    assert all(character.isprintable() or character == "\n" for character in text)


def _many(count: int) -> Proof:
    names = [f"a-member-with-a-rather-long-name-{n}" for n in range(count)]
    marks = ("hears", "lost", "unlisted", "silent")
    sights = tuple(
        Sight(viewer=a, viewed=b, mark="self" if a == b else marks[(i * 7 + j) % 4])
        for i, a in enumerate(names)
        for j, b in enumerate(names)
    )
    return replace(proof(), sights=sights)


@pytest.mark.parametrize("count", [0, 1, 3, 10, 11, 40])
def test_no_two_texts_of_the_matrix_overlap(count: int) -> None:
    boxes, across, high = letters(sight_svg(_many(count)))
    assert overlaps(boxes) == []
    assert outside(boxes, across, high) == []


def test_every_cell_says_its_sentence_and_only_bad_ones_are_hatched() -> None:
    root = etree.fromstring(sight_svg(bad_proof()).encode())
    cells = {
        group.findtext(f"{SVG}title"): next(box.attrib["fill"] for box in group.iter(f"{SVG}rect"))
        for group in root.iter(f"{SVG}g")
    }
    assert cells["log-1 hears log-2"] == "#ffffff"
    hatched = {title for title, fill in cells.items() if fill == "url(#hatch-bad)"}
    assert hatched == {
        "log-1 does not hear log-3",
        "log-3 gave no view, so nothing is known of log-1",
        "log-3 gave no view, so nothing is known of log-2",
    }
