"""The maker's limits: strict reading, what values mean, the printed form.

Outside values: versions are held to the library packaging (PEP 440 specifiers); bad files and their messages are written
by hand from docs/makers-limits.md.
"""

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from packaging.specifiers import SpecifierSet

from staddle.design.limitpaper import limits_form, limits_starter
from staddle.design.limitquestions import LIMIT_QUESTIONS
from staddle.design.limits import Limit, Limits, read_limits
from staddle.design.limitvalues import PROCESSOR_LEVELS, PlatformRange, platform, processor_reaches
from staddle.kernel import InputRefused

DEMO = Path(__file__).parents[2] / "demo" / "levels" / "limits.yaml"
SOURCED = "source: guide, dated: 2026-03-02"


def read(text: str) -> Limits:
    return read_limits(text, where="limits.yaml")


def row(what: str, value: str, more: str = "") -> str:
    return f"- {{what: {what}, value: {value}, {more}{SOURCED}}}\n"


def test_a_row_is_read_with_its_paper_and_its_place() -> None:
    found = read(row("latency-most", "5 ms") + row("size", "river", "applies_to: data, "))
    assert found.rows == (
        Limit(
            what="latency-most",
            written="5 ms",
            value=5.0,
            source="guide",
            dated=date(2026, 3, 2),
            place="limits.yaml:1:31",
        ),
        Limit(
            what="size",
            written="river",
            value="river",
            applies_to="data",
            source="guide",
            dated=date(2026, 3, 2),
            place="limits.yaml:2:23",
        ),
    )


@pytest.mark.parametrize("text", ["", "# nothing yet\n"])
def test_an_empty_file_knows_nothing(text: str) -> None:
    assert [question.what for question, _ in read(text).unknown()] == [one.what for one in LIMIT_QUESTIONS]


def test_a_blank_is_unknown_at_its_own_place_and_no_limit_is_known() -> None:
    found = read("- what: upgrade\n  value:\n" + row("members-most", "no limit") + row("size", "river"))
    unknown = {question.what: place for question, place in found.unknown()}
    assert unknown["upgrade"] == "limits.yaml:1:3"
    assert unknown["platform"] == "limits.yaml"
    assert "members-most" not in unknown
    assert found.of("members-most") == ()


BAD = [
    (row("members-mots", "7"), "1:10", 'there is no question "members-mots"', 'did you mean "members-most"?'),
    (row("colour", "red"), "1:10", 'there is no question "colour"', "write one of platform, system-type,"),
    (row("members-most", "seven"), "1:31", '"seven" is not a whole number from 1 to 1000000', ""),
    (row("members-most", "0"), "1:31", '"0" is not a whole number from 1 to 1000000', ""),
    (row("members-most", "7.5"), "1:31", "[0].value = 7.5 is a number", ""),
    (row("latency-most", "5"), "1:31", '"5" is not a duration', "write for example"),
    (row("disk-growth", "maybe"), "1:30", '"maybe" is no rule of disk growth', "write may grow,"),
    (row("upgrade", "4.1 - 4.2"), "1:26", '"4.1 - 4.2" is no upgrade path', "write for example 4.1 to 4.2"),
    (row("platform", "kvm 8 to 7"), "1:27", '"kvm 8 to 7" runs from 8 back to 7', "write the lower version"),
    (
        row("size", "river", "applies_to: date, "),
        "1:42",
        '"date" is no kind of member',
        'did you mean "data"?',
    ),
    (
        row("upgrade", "4 to 5", "applies_to: data, "),
        "1:46",
        "upgrade is the same for every member",
        "remove",
    ),
    (
        "- {what: size, value: river, dated: 2026-03-02}\n",
        "1:3",
        "the value of size has no source",
        "write where",
    ),
    (
        "- {what: size, value: river, source: guide}\n",
        "1:3",
        "the value of size has no date of its paper",
        "write",
    ),
    (row("size", "river", "sorce: x, "), "1:30", 'unknown key "sorce"', 'did you mean "source"?'),
    ("- {value: river, source: guide, dated: 2026-03-02}\n", "1:3", "[0].what is missing", "add"),
    (
        '- {what: size, value: "", source: guide, dated: 2026-03-02}\n',
        "1:23",
        "the value is an empty text",
        "leave",
    ),
    (row("members-most", "7") * 2, "2:10", "members-most for all stands twice", "keep one row"),
    (
        row("members-fewest", "5") + row("members-most", "3"),
        "2:31",
        "at most 3 members, but at least 5",
        "look",
    ),
    ("what: size\n", "1:1", "the file is a block of keys and values", 'put a "-"'),
]


@pytest.mark.parametrize(("text", "at", "what", "mend"), BAD, ids=[case[0].split(",")[0] for case in BAD])
def test_a_bad_file_is_refused_at_its_place(text: str, at: str, what: str, mend: str) -> None:
    with pytest.raises(InputRefused) as caught:
        read(text)
    (fault,) = caught.value.faults
    assert fault.where == f"limits.yaml:{at}"
    assert fault.what.startswith(what)
    assert fault.mend.startswith(mend)


def test_every_fault_of_the_file_is_told_at_once_in_its_order() -> None:
    with pytest.raises(InputRefused) as caught:
        read("".join(text for text, *_ in BAD[:6]) + row("size", "river", "sorce: x, ") + "- 7\n")
    lines = [int(fault.where.split(":")[1]) for fault in caught.value.faults]
    assert lines == sorted(lines)
    assert set(lines) == set(range(1, 9))


PARTS = st.lists(st.integers(0, 12), min_size=1, max_size=3)
WHOLE = st.lists(st.integers(0, 12), min_size=3, max_size=3)


def dotted(parts: list[int]) -> str:
    return ".".join(map(str, parts))


@settings(max_examples=300, deadline=None)
@given(PARTS, PARTS, WHOLE)
def test_a_range_of_versions_holds_what_packaging_says(
    one: list[int], other: list[int], found: list[int]
) -> None:
    first, last = sorted((one, other))
    if last == first[: len(last)]:
        first = last
    wanted = SpecifierSet(f">={dotted(first)}")
    upto = f"<={dotted(last)}" if len(last) == 3 else f"<{dotted([*last[:-1], last[-1] + 1])}"
    version = dotted(found)
    assert platform(f"kvm {dotted(first)} or later").holds(version) == (version in wanted)
    both = version in wanted and version in SpecifierSet(upto)
    assert platform(f"kvm {dotted(first)} to {dotted(last)}").holds(version) == both
    alone = version in SpecifierSet(f"=={dotted(first)}.*" if len(first) < 3 else f"=={dotted(first)}")
    assert platform(f"kvm {dotted(first)}").holds(version) == alone


@pytest.mark.parametrize(
    ("written", "version", "holds"),
    [
        ("kvm", "", True),
        ("kvm 8.2", "8", None),
        ("kvm 7 to 8.2", "8", None),
        ("kvm 7 to 8.2", "7", True),
        ("kvm 7 to 8", "9", False),
        ("kvm 8", "", None),
        ("kvm 8", "8.2-rc1", None),
    ],
)
def test_a_version_that_does_not_tell_is_not_guessed(written: str, version: str, holds: bool | None) -> None:
    assert platform(written).holds(version) is holds


def test_a_platforms_name_may_hold_blanks_and_a_number() -> None:
    assert platform("river board 2 8.2 or later") == PlatformRange(name="river board 2", first=(8, 2))
    assert platform("river board") == PlatformRange(name="river board")


def test_processor_levels_stand_in_their_order_and_strangers_are_not_compared() -> None:
    for at, level in enumerate(PROCESSOR_LEVELS):
        assert [processor_reaches(level, least) for least in PROCESSOR_LEVELS] == [
            at >= other for other in range(len(PROCESSOR_LEVELS))
        ]
    assert processor_reaches("", "x86-64-v2") is None
    assert processor_reaches("x86-64-v3", "armv8.2-a") is None
    assert processor_reaches("armv8.2-A", "armv8.2-a") is True


def test_the_starter_reads_and_asks_everything() -> None:
    found = read(limits_starter())
    assert found.rows == ()
    assert [what for what, _ in found.blanks] == [one.what for one in LIMIT_QUESTIONS]


def test_the_form_asks_everything_and_shows_what_is_known_with_its_paper() -> None:
    text = limits_form(product="Sluicelog", version="4.2.0", known=read(DEMO.read_text(encoding="utf-8")))
    assert text.startswith("What we must know about Sluicelog 4.2.0\n")
    flat = " ".join(text.split())
    assert all(question.asks in flat for question in LIMIT_QUESTIONS)
    assert "    we have: 9, from Sluicelog 4.2 planning guide, page 7, 2026-09-14\n" in text
    assert "    we have: brook (without data), from " in text
    blank = limits_form(product="", version="", known=None)
    assert blank.count("    answer:  ....") == len(LIMIT_QUESTIONS)
    assert all(len(line) <= 78 for line in blank.splitlines())
