"""Near names: what is told for a slip of the fingers, and that what is far is not told at all."""

import pytest

from staddle.kernel.likeness import did_you_mean, near_names

KEYS = ("cluster", "change", "engineer", "estate", "name", "owner", "platform")


@pytest.mark.parametrize(
    ("wrong", "near"),
    [
        ("clustr", ("cluster",)),
        ("CLUSTER", ("cluster",)),
        ("enginer", ("engineer",)),
        ("colour", ()),
        ("", ()),
    ],
)
def test_near_names(wrong: str, near: tuple[str, ...]) -> None:
    assert near_names(wrong, KEYS) == near


def test_all_that_are_equally_near_are_told_and_nothing_further_off() -> None:
    assert near_names("om-store-9", ["om-store-1", "om-store-2", "tg-store-1"]) == (
        "om-store-1",
        "om-store-2",
    )
    assert did_you_mean("surveyd_by", ["surveyed", "surveyed_by"]) == 'did you mean "surveyed_by"?'


def test_the_known_name_is_told_as_it_is_written() -> None:
    assert did_you_mean("ousemor", ["Ousemoor"], saying="is it {}?") == 'is it "Ousemoor"?'
