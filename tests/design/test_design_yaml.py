"""Strict reading of YAML: what other readers take for something else is refused, each with its mend."""

from datetime import date

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.design.plainscalar import Surprise, read_plain
from staddle.design.reader import read_yaml_strict
from staddle.design.yamltext import yaml_scalar
from staddle.kernel import Fault, InputRefused

DIGITS = "a number is written in plain digits, such as 90 or 0.5"


def refusal(text: str) -> str:
    with pytest.raises(InputRefused) as caught:
        read_yaml_strict(text, where="f.yaml")
    return str(caught.value)


def test_plain_values_mean_what_both_editions_of_yaml_say() -> None:
    text = "a: true\nb: false\nc: 12\nd: -0.5\ne: 2026-11-20\nf: null\ng:\nh: some text\ni: [1, two]\nj: {k: v}\nl: 0\n"
    assert read_yaml_strict(text, where="f").value == {
        "a": True,
        "b": False,
        "c": 12,
        "d": -0.5,
        "e": date(2026, 11, 20),
        "f": None,
        "g": None,
        "h": "some text",
        "i": (1, "two"),
        "j": {"k": "v"},
        "l": 0,
    }


# yaml.org/type/bool (YAML 1.1): these words are truth values there, and words in YAML 1.2.2 §10.3
@pytest.mark.parametrize(
    "word",
    [
        "y",
        "Y",
        "n",
        "N",
        "yes",
        "Yes",
        "YES",
        "no",
        "No",
        "NO",
        "on",
        "On",
        "ON",
        "off",
        "Off",
        "OFF",
        "True",
        "TRUE",
        "False",
        "FALSE",
    ],
)
def test_truth_words_are_refused(word: str) -> None:
    truth = "true" if word.lower() in ("y", "yes", "on", "true") else "false"
    assert refusal(f"a: {word}") == (
        f"error: unquoted {word} means a truth value to some readers and a word to others\n"
        "  where: f.yaml:1:4\n"
        "  why:   YAML 1.1 and YAML 1.2 differ about it\n"
        f'  try:   write {truth}, or put it in quotes if the word is meant: "{word}"'
    )


@pytest.mark.parametrize("text", ["~", "Null", "NULL"])
def test_words_for_nothing_are_refused(text: str) -> None:
    assert refusal(f"- {text}") == (
        f"error: unquoted {text} means nothing at all to some readers and text to others\n"
        "  where: f.yaml:1:3\n"
        "  why:   YAML 1.1 and YAML 1.2 differ about it\n"
        f'  try:   leave the line out, or put it in quotes if the text is meant: "{text}"'
    )


@pytest.mark.parametrize(
    ("text", "doubt"),
    [
        ("1:30", "is a number to base 60 to some readers"),
        ("08:30", "is a number to base 60 to some readers"),
        ("1:30:15.5", "is a number to base 60 to some readers"),
        ("012", "is a number to base 8 to some readers and to base 10 to others"),
        ("09", "is a number to base 8 to some readers and to base 10 to others"),
        ("0o12", "is a number to base 2, 8 or 16 to some readers"),
        ("0x1F", "is a number to base 2, 8 or 16 to some readers"),
        ("0b101", "is a number to base 2, 8 or 16 to some readers"),
        ("1_000", "is a number to some readers, which pass over the underscores"),
        ("1_000.5", "is a number to some readers, which pass over the underscores"),
        (".5", "is a number to some readers and text to others"),
        (".5e3", "is a number to some readers and text to others"),
        ("5.", "is a number to some readers and text to others"),
        ("1e5", "is a number to some readers and text to others"),
        ("6.02e+23", "is a number to some readers and text to others"),
        ("+5", "is a number to some readers and text to others"),
        (".inf", "is a number to some readers and text to others"),
        ("-.Inf", "is a number to some readers and text to others"),
        (".nan", "is a number to some readers and text to others"),
        ("2026-11-20T10:00:00Z", "is an instant with a zone of its own to some readers"),
        ("2026-11-20 10:00:00", "is an instant with a zone of its own to some readers"),
        ("=", "has a meaning of its own to some readers"),
        ("1234567890123456789", "is a number of too many digits"),
    ],
)
def test_odd_numbers_are_refused(text: str, doubt: str) -> None:
    assert refusal(f"a:\n  - {text}") == (
        f"error: unquoted {text} {doubt}\n"
        "  where: f.yaml:2:5\n"
        "  why:   what a value means must not depend on who reads it\n"
        f'  try:   put it in quotes: "{text}"; {DIGITS}'
    )


def test_a_day_that_the_calendar_lacks_is_refused() -> None:
    assert refusal("a: 2026-02-30") == (
        "error: 2026-02-30 is not a day of the calendar\n"
        "  where: f.yaml:1:4\n"
        "  why:   it is written like a date\n"
        '  try:   mend the date, or put it in quotes if it is none: "2026-02-30"'
    )


@pytest.mark.parametrize(
    "text",
    [
        "192.0.2.10",
        "2001:db8::1",
        "1.2.3",
        "2026-12-05 20:00",
        "400 d",
        "a:b",
        "no one",
        "v1.10",
        "-",
        "nope",
        "1-2",
    ],
)
def test_text_that_only_looks_odd_stays_text(text: str) -> None:
    assert read_plain(text) == text


@pytest.mark.parametrize("quote", ["'", '"'])
@pytest.mark.parametrize("text", ["no", "1:30", "012", "1.10", "2026-11-20", "~", "=", "<<"])
def test_quoted_text_is_text(text: str, quote: str) -> None:
    assert read_yaml_strict(f"a: {quote}{text}{quote}", where="f").value == {"a": text}


def test_block_text_is_text() -> None:
    assert read_yaml_strict("a: |\n  no\n", where="f").value == {"a": "no\n"}


# The outside reader: PyYAML's YAML 1.1 resolver. Whatever we take for a string, it must take for a string too, and
# numbers and truth values must be equal.
@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(
    st.one_of(
        st.text("0123456789_.:eExXobB+-", min_size=1, max_size=9),
        st.text("yYnNoOfFeEsStTrRuUaAlL~", min_size=1, max_size=5),
        st.from_regex(r"[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}([Tt ][0-9]{1,2}:[0-9]{2}:[0-9]{2})?", fullmatch=True),
    )
)
def test_a_yaml_1_1_reader_never_disagrees_with_what_is_accepted(text: str) -> None:
    ours = read_plain(text)
    if isinstance(ours, Surprise):
        return
    try:
        theirs = yaml.load(f"[{text}]", Loader=yaml.CSafeLoader)
    except (yaml.YAMLError, ValueError):
        return  # not a plain scalar inside a list
    if isinstance(theirs, list) and len(theirs) == 1 and not isinstance(theirs[0], dict):
        assert theirs[0] == ours
        assert type(theirs[0]) is type(ours)


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.text())
def test_written_text_reads_back(text: str) -> None:
    written = yaml_scalar(text)
    assert read_yaml_strict(f"a: {written}\n", where="f").value == {"a": text}
    assert yaml.load(f"a: {written}\n", Loader=yaml.CSafeLoader) == {"a": text}


def test_text_with_half_a_character_is_refused() -> None:
    assert refusal("a: x\nb: \ud800") == (
        "error: the text holds half of a character\n  where: f.yaml:2:4\n  try:   save the file as UTF-8"
    )
    with pytest.raises(InputRefused, match="the text holds half of a character"):
        yaml_scalar("\ud800")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "a: 1\nb: 2\na: 3\n",
            'error: the key "a" stands twice\n'
            "  where: f.yaml:3:1\n"
            "  why:   it stands at f.yaml:1:1 already, and only one of the two can hold\n"
            "  try:   remove one of the two",
        ),
        (
            "m:\n  - x: 1\n    x: {y: no}\n",
            'error: the key "x" stands twice in m[0]\n'
            "  where: f.yaml:3:5\n"
            "  why:   it stands at f.yaml:2:5 already, and only one of the two can hold\n"
            "  try:   remove one of the two",
        ),
        (
            "a: &x 1\nb: *x\n",
            "error: an anchor (&x) is not read here\n"
            "  where: f.yaml:1:4\n"
            "  why:   a row must say itself what holds for it\n"
            "  try:   remove &x, and write the value out where it is used\n\n"
            "error: an alias (*x) is not read here\n"
            "  where: f.yaml:2:4\n"
            "  why:   a row must say itself what holds for it\n"
            "  try:   write the value out",
        ),
        (
            "a: {b: 1}\nc:\n  <<: {b: 2}\n",
            "error: a merge key (<<) is not read here\n"
            "  where: f.yaml:3:3\n"
            "  why:   a row must say itself what holds for it\n"
            "  try:   write the merged values out",
        ),
        (
            "a: !!str 12\nb: !own x\n",
            "error: a tag (!!str) is not read here\n"
            "  where: f.yaml:1:4\n"
            "  why:   what a value means follows from its place alone\n"
            "  try:   remove the tag; put the value in quotes if it is text\n\n"
            "error: a tag (!own) is not read here\n"
            "  where: f.yaml:2:4\n"
            "  why:   what a value means follows from its place alone\n"
            "  try:   remove the tag; put the value in quotes if it is text",
        ),
        (
            "no: 1\n",
            "error: unquoted no means a truth value to some readers and a word to others\n"
            "  where: f.yaml:1:1\n"
            "  why:   YAML 1.1 and YAML 1.2 differ about it\n"
            '  try:   put the key in quotes: "no"',
        ),
        (
            "12: 1\n",
            'error: a key must be text\n  where: f.yaml:1:1\n  try:   put it in quotes: "12"',
        ),
        (
            "? [a, b]\n: 1\n",
            "error: a key must be a word\n  where: f.yaml:1:3\n  try:   write one word and a colon",
        ),
        (
            "a: 1\n---\nb: 2\n",
            "error: a second document begins here\n"
            "  where: f.yaml:2:1\n"
            "  try:   keep one document a file: remove this line and what follows",
        ),
        (
            "a: 1\n b: 2\n",
            "error: this is not YAML from here on\n"
            "  where: f.yaml:2:3\n"
            "  why:   mapping values are not allowed in this context\n"
            "  try:   look at the indentation (blanks, no tabs), at missing quotes and at a colon inside a text",
        ),
        (
            "a:\n\t- 1\n",
            "error: this is not YAML from here on\n"
            "  where: f.yaml:2:1\n"
            "  why:   while scanning for the next token found character that cannot start any token\n"
            "  try:   look at the indentation (blanks, no tabs), at missing quotes and at a colon inside a text",
        ),
        (
            "a: 1\nb: x\x07y\n",
            "error: the character U+0007 is not allowed in YAML\n"
            "  where: f.yaml:2:5\n"
            "  try:   remove it; it is often invisible in an editor",
        ),
        (
            "a: " + "[" * 40 + "]" * 40,
            "error: values are nested more than 32 deep\n"
            "  where: f.yaml:1:35\n"
            "  try:   a file of this kind is flat: rows and plain fields",
        ),
    ],
    ids=[
        "twice",
        "twice-inside",
        "alias",
        "merge",
        "tag",
        "key-no",
        "key-12",
        "key-list",
        "second",
        "indent",
        "tab",
        "bell",
        "deep",
    ],
)
def test_what_is_not_read(text: str, message: str) -> None:
    assert refusal(text) == message


def test_every_surprise_of_a_file_is_told_at_once() -> None:
    told = refusal("a: no\nb: 012\nc: 1\nc: 2\n")
    assert [line for line in told.splitlines() if "where" in line] == [
        "  where: f.yaml:1:4",
        "  where: f.yaml:2:4",
        "  where: f.yaml:4:1",
    ]


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.text("ab:-[]{}&*!<?'\"#|>%@`,\n \t0~", max_size=40))
def test_any_text_is_read_or_refused_in_our_words(text: str) -> None:
    told: tuple[Fault, ...] = ()
    try:
        read_yaml_strict(text, where="f")
    except InputRefused as exc:
        told = exc.faults
    assert all(fault.what and fault.where.startswith("f") for fault in told)
