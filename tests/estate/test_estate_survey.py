"""The survey's head and its age."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from staddle.estate.survey import read_survey, survey_age
from staddle.kernel import InputRefused

DAY = date(2026, 11, 25)


@pytest.mark.parametrize(
    ("days", "text"),
    [
        (-3, "dated 3 days ahead"),
        (-1, "dated 1 day ahead"),
        (0, "made the same day"),
        (1, "1 day old"),
        (59, "59 days old"),
        (60, "60 days old, about 2 months"),
        (365, "365 days old, about 12 months"),
    ],
)
def test_age_as_number_and_text(days: int, text: str) -> None:
    age = survey_age(DAY - timedelta(days=days), DAY)
    assert (age.days, age.text) == (days, text)


def test_a_name_that_yaml_would_take_for_a_truth_value_stays_text(tmp_path: Path) -> None:
    (tmp_path / "survey.yaml").write_text("name: no\nsurveyed: 2026-11-02\nsurveyed_by: 0123\n")
    survey = read_survey(tmp_path)
    assert (survey.name, survey.surveyed, survey.surveyed_by) == ("no", date(2026, 11, 2), "0123")


@pytest.mark.parametrize(
    ("content", "messages"),
    [
        (
            "name: a\nname: b\nsurveyed: 20261102\nsurveyed_by: [c]\n",
            [
                "a plain text is expected here",
                'the key "name" stands twice',
                'surveyed: "20261102" is not a day',
                'the key "surveyed_by" is missing',
            ],
        ),
        ("name:\n", ["name is blank", 'the key "surveyed" is missing', 'the key "surveyed_by" is missing']),
        (
            "name: a\nsurveyed: 2026-11-02\nsurveyed_by: c\nage_limit: 36 h\nage_limits: 3 d\n",
            ['age_limit: "36 h" is not a number of whole days', 'there is no key "age_limits"'],
        ),
        ("- a\n", ["the file does not hold keys and values"]),
        ("", ["the file does not hold keys and values"]),
        ("name: 'a\n", ["the file cannot be read: while scanning a quoted scalar"]),
    ],
)
def test_every_fault_of_the_head_is_told(tmp_path: Path, content: str, messages: list[str]) -> None:
    (tmp_path / "survey.yaml").write_text(content)
    with pytest.raises(InputRefused) as caught:
        read_survey(tmp_path)
    found = [fault.what for fault in caught.value.faults]
    assert len(found) == len(messages)
    assert all(what.startswith(message) for what, message in zip(found, messages, strict=True))


def test_missing_head_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputRefused, match="the head of the estate is missing"):
        read_survey(tmp_path)
