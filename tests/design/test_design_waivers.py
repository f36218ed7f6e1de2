"""Waivers: a named person, a reason, an end; past it, or without a finding, they are told."""

from datetime import date

import pytest

from staddle.design.waivers import Waiver, apply_waivers, read_waivers
from staddle.kernel import Finding, InputRefused, Severity

TODAY = date(2026, 11, 20)
ROW = """\
- rule: survey-old
  where: rack-a
  by: M. Heron
  reason: the racks were counted by hand on Tuesday
  until: 2026-12-31
"""


def finding(
    rule: str = "survey-old", what: str = "the survey of rack-a is 40 days old", where: str = ""
) -> Finding:
    return Finding(rule=rule, severity=Severity.RISK, what=what, where=where)


def waiver(*, rule: str = "survey-old", where: str = "", until: date = date(2026, 12, 31)) -> Waiver:
    return Waiver(rule=rule, where=where, by="M. Heron", reason="counted by hand", until=until)


def test_a_waiver_is_read() -> None:
    assert read_waivers(ROW, where="waivers.yaml", today=TODAY).value == (
        Waiver(
            rule="survey-old",
            where="rack-a",
            by="M. Heron",
            reason="the racks were counted by hand on Tuesday",
            until=date(2026, 12, 31),
        ),
    )


def test_a_file_without_rows_waives_nothing() -> None:
    assert read_waivers("# none\n", where="waivers.yaml", today=TODAY).value == ()


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            "  by: M. Heron\n",
            "",
            "error: [0].by is missing\n"
            "  where: waivers.yaml:1:3\n"
            "  why:   the person who accepts it\n"
            '  try:   add a line "by: …"',
        ),
        (
            "2026-12-31",
            "2027-11-22",
            "error: the waiver of survey-old holds until 2027-11-22, more than a year ahead\n"
            "  where: waivers.yaml:5:10\n"
            "  why:   what was acceptable must be looked at again\n"
            "  try:   write 2027-11-21 or earlier",
        ),
        (
            "2026-12-31",
            "always",
            'error: [0].until = "always" is text; a date such as 2026-11-20 is expected\n'
            "  where: waivers.yaml:5:10\n"
            "  try:   this is: the last day it holds, at most a year ahead",
        ),
        (
            "the racks were counted by hand on Tuesday",
            '" "',
            'error: [0].reason = " ": it must not be empty\n'
            "  where: waivers.yaml:4:11\n"
            "  try:   this is: why it is acceptable",
        ),
        (
            "until: 2026",
            "untl: 2026",
            "error: [0].until is missing\n"
            "  where: waivers.yaml:1:3\n"
            "  why:   the last day it holds, at most a year ahead\n"
            '  try:   add a line "until: …"\n\n'
            'error: unknown key "untl" in [0]\n'
            "  where: waivers.yaml:5:3\n"
            "  why:   the keys here are by, reason, rule, until, where\n"
            '  try:   did you mean "until"?',
        ),
    ],
    ids=["nobody", "too-long", "no-date", "no-reason", "unknown-key"],
)
def test_a_wrong_waiver_is_told_whole(old: str, new: str, message: str) -> None:
    assert ROW.count(old) == 1
    with pytest.raises(InputRefused) as caught:
        read_waivers(ROW.replace(old, new), where="waivers.yaml", today=TODAY)
    assert str(caught.value) == message


def test_a_finding_is_waived_with_the_name_and_the_reason() -> None:
    result = apply_waivers([finding(), finding(rule="other")], [waiver(where="rack-a")], today=TODAY)
    assert result.kept == (finding(rule="other"),)
    assert [(one.finding, one.by, one.reason) for one in result.waived] == [
        (finding(), "M. Heron", "counted by hand")
    ]


@pytest.mark.parametrize(
    ("item", "text", "met"),
    [
        ("", "anything", True),
        ("log-1", "log-1 has no name", True),
        ("log-1", "log-10 has no name", False),
        ("log-1", 'member "log-1": no name', True),
        ("log", "log-1 has no name", False),
        ("rack.a", "rack-a is full", False),
    ],
)
def test_an_item_is_met_as_a_whole_word(item: str, text: str, met: bool) -> None:
    assert waiver(where=item).meets(finding(what=text)) is met
    assert waiver(where=item).meets(finding(what="x", where=text)) is met


def test_a_waiver_holds_on_its_last_day_and_not_on_the_next() -> None:
    last = waiver(until=TODAY)
    assert apply_waivers([finding()], [last], today=TODAY).kept == ()
    after = apply_waivers([finding()], [last], today=date(2026, 11, 21))
    assert after.kept[0] == finding()
    assert after.kept[1:] == (
        Finding(
            rule="waiver-past-its-end",
            severity=Severity.RISK,
            what="the waiver of survey-old by M. Heron ended on 2026-11-20",
            where="waivers.yaml",
            why="nobody accepts this any more",
            mend="mend what it was about and remove the row, or have it accepted again",
            source="common practice, no source",
        ),
    )


def test_a_valid_waiver_counts_beside_one_that_has_ended() -> None:
    result = apply_waivers([finding()], [waiver(until=date(2026, 1, 1)), waiver()], today=TODAY)
    assert [one.until for one in result.waived] == [date(2026, 12, 31)]
    assert [one.rule for one in result.kept] == ["waiver-past-its-end"]


def test_a_waiver_without_a_finding_is_a_note() -> None:
    (note,) = apply_waivers([], [waiver(where="rack-b")], today=TODAY).kept
    assert note.severity is Severity.NOTE
    assert note.what == "the waiver of survey-old for rack-b by M. Heron meets no finding"
