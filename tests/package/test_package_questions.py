"""Qualifiers and answers: DSP0243's types and qualifiers, ranges of DSP0004's intrinsic types."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.kernel import InputRefused
from staddle.package.model import Property
from staddle.package.properties import check_answer
from staddle.package.qualifiers import Qualifiers, read_qualifiers, write_qualifiers


def question(**changes: object) -> Property:
    fields: dict[str, object] = {
        "key": "box.depth",
        "type": "string",
        "label": "Depth",
        "user_configurable": True,
    }
    return Property(**(fields | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", Qualifiers()),
        ("MinLen(1)", Qualifiers(min_length=1)),
        ("MinLen(1),MaxLen(64)", Qualifiers(min_length=1, max_length=64)),
        ('ValueMap{"a","b"}', Qualifiers(allowed=("a", "b"))),
        # commas and brackets inside the braces do not separate qualifiers
        ('ValueMap{"a, b","c)}"}, MaxLen( 9 )', Qualifiers(allowed=("a, b", "c)}"), max_length=9)),
        (r'ValueMap{"say \"hi\"","back\\slash"}', Qualifiers(allowed=('say "hi"', "back\\slash"))),
        ("ValueMap{1, 2,3}", Qualifiers(allowed=("1", "2", "3"))),
        (' minlen ( 2 ) , Valuemap { "x" } ', Qualifiers(min_length=2, allowed=("x",))),
        ('Override("a"), MaxLen(3), Key', Qualifiers(max_length=3, unknown=("Override", "Key"))),
    ],
)
def test_qualifiers_are_read(text: str, expected: Qualifiers) -> None:
    assert read_qualifiers(text) == expected


@pytest.mark.parametrize(
    ("text", "at", "why"),
    [
        ("MinLen(x)", 10, "MinLen needs one whole number"),
        ("MinLen", 7, "MinLen needs one whole number"),
        ('ValueMap{"a', 12, "the quotation mark is never closed"),
        ('ValueMap{"a" "b"}', 14, 'a comma or "}" is expected'),
        ("ValueMap{}", 11, "ValueMap needs at least one value"),
        ("MinLen(1) MaxLen(2)", 11, "a comma is expected between qualifiers"),
        ("MinLen(1),", 11, "nothing follows the last comma"),
        ("MinLen(1),MinLen(2)", 17, "MinLen stands twice"),
        (",", 1, "a qualifier's name is expected"),
        ("ValueMap{a,,b}", 12, "a value is expected"),
        ("MinLen(1", 9, 'a comma or ")" is expected'),
        (f"MinLen({'9' * 500})", 509, "MinLen needs one whole number"),
    ],
)
def test_broken_qualifiers_are_refused(text: str, at: int, why: str) -> None:
    with pytest.raises(InputRefused) as caught:
        read_qualifiers(text)
    assert str(caught.value) == (
        f"error: the qualifiers '{text}' cannot be read at character {at}\n"
        f"  why:   {why}\n"
        '  try:   the maker must write for example MinLen(1), MaxLen(64), ValueMap{"a","b"}'
    )


@given(
    st.builds(
        Qualifiers,
        min_length=st.none() | st.integers(0, 10**8),
        max_length=st.none() | st.integers(0, 10**8),
        allowed=st.lists(st.text(), max_size=4).map(tuple),
    )
)
def test_qualifiers_survive_the_round_trip(qualifiers: Qualifiers) -> None:
    assert read_qualifiers(write_qualifiers(qualifiers)) == qualifiers


@given(st.text(alphabet='MinLenVaueMp(){}",\\ 12', max_size=30))
def test_any_qualifiers_are_read_or_refused(text: str) -> None:
    try:
        qualifiers = read_qualifiers(text)
    except InputRefused:
        return
    assert qualifiers.unknown or read_qualifiers(write_qualifiers(qualifiers)) == qualifiers


# The ranges follow the type: n-bit unsigned 0…2^n−1, signed −2^(n−1)…2^(n−1)−1 (DSP0004).
RANGES = {
    "uint8": (0, 255),
    "sint8": (-128, 127),
    "uint16": (0, 65535),
    "sint16": (-32768, 32767),
    "uint32": (0, 4_294_967_295),
    "sint32": (-2_147_483_648, 2_147_483_647),
    "uint64": (0, 18_446_744_073_709_551_615),
    "sint64": (-9_223_372_036_854_775_808, 9_223_372_036_854_775_807),
}


@pytest.mark.parametrize(("kind", "least", "most"), [(k, *r) for k, r in RANGES.items()])
def test_integers_hold_their_range_and_nothing_more(kind: str, least: int, most: int) -> None:
    prop = question(type=kind)
    for good in (least, most, 0, 1):
        assert check_answer(prop, str(good)) is None
    for bad in (str(least - 1), str(most + 1), "", "1.0", "0x1", "1e2", " 1", "١", "9" * 5000):
        assert check_answer(prop, bad) is not None, bad


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        ("boolean", ["true", "false"], ["True", "1", "", "yes"]),
        # IEEE 754: largest finite binary32 3.4028235e38, binary64 1.7976931348623157e308
        ("real32", ["0", "-1.5", "3.4028234e38", ".5", "1."], ["3.5e38", "nan", "inf", "", "1,5", "0x1p3"]),
        ("real64", ["1.7976931348623157e308", "-2e-300"], ["1.8e308", "1e9999", "Infinity", "1_0"]),
        ("string", ["", "anything", "ü" * 300], ["a\x00", "a\x1bb", "\ud800", "\ufffe"]),
    ],
)
def test_other_types(kind: str, good: list[str], bad: list[str]) -> None:
    for value in good:
        assert check_answer(question(type=kind), value) is None, value
    for value in bad:
        assert check_answer(question(type=kind), value) is not None, value


def test_lengths_count_characters() -> None:
    prop = question(min_length=2, max_length=3)
    assert [check_answer(prop, text) is None for text in ("", "ü", "üü", "üüü", "abcd")] == [
        False,
        False,
        True,
        True,
        False,
    ]


def test_a_value_map_holds_for_strings_and_integers() -> None:
    assert check_answer(question(allowed=("a", "b")), "b") is None
    assert check_answer(question(allowed=("a", "b")), "B") is not None
    assert check_answer(question(type="uint8", allowed=("1", "10")), "10") is None
    assert check_answer(question(type="uint8", allowed=("1", "10")), "2") is not None


def test_an_empty_answer_under_min_len_or_value_map_is_missing() -> None:
    assert check_answer(question(min_length=1), "") is not None
    assert check_answer(question(allowed=("a",)), "") is not None
    assert check_answer(question(), "") is None


def text_of(prop: Property, value: str) -> str:
    fault = check_answer(prop, value)
    assert fault is not None
    return "\n".join(fault.lines())


def test_the_message_names_answer_question_place_and_expectation() -> None:
    assert text_of(question(type="uint8"), "300") == (
        '"300" does not answer "Depth"\n'
        "  where: box.depth\n"
        "  why:   a whole number from 0 to 255 is expected (uint8)\n"
        "  try:   correct the answer"
    )
    assert text_of(question(allowed=("low", "high")), "mid") == (
        '"mid" does not answer "Depth"\n'
        "  where: box.depth\n"
        '  why:   the package allows "low", "high"\n'
        "  try:   correct the answer"
    )


def test_a_password_never_stands_in_the_message() -> None:
    text = text_of(question(password=True, min_length=12), "hunter2-x")
    assert text == (
        'the answer given (not shown, it is a secret) does not answer "Depth"\n'
        "  where: box.depth\n"
        "  why:   at least 12 characters are expected, 9 given\n"
        "  try:   correct the answer"
    )


def test_what_the_maker_fixed_cannot_be_answered_otherwise() -> None:
    prop = question(user_configurable=False, defaults=(("", "9"), ("big", "12")))
    assert check_answer(prop, "9") is None
    assert check_answer(prop, "12") is None
    assert text_of(prop, "10") == (
        '"Depth" is fixed by the maker and cannot be answered otherwise\n'
        "  where: box.depth\n"
        "  why:   the package does not mark the property as configurable by the user\n"
        "  try:   remove the answer"
    )
    assert check_answer(question(user_configurable=False), "x") is not None
    assert check_answer(question(user_configurable=False), "") is None
