"""Writing rules into a design: only package.rules changes, and what is read back is what was meant."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.design.answering import with_rules
from staddle.design.model import AnswerRule
from staddle.design.reader import read_design
from staddle.kernel import InputRefused
from tests.review.ousemoor import DESIGN

TEXT = DESIGN.replace("SHA256", "0" * 64)
keys = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1, max_size=20)
values = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), max_size=30)


@settings(max_examples=60, deadline=None)
@given(st.dictionaries(keys, values, min_size=1, max_size=4), st.dictionaries(keys, values, max_size=3))
def test_what_is_written_reads_back_and_nothing_else_changes(
    first: dict[str, str], second: dict[str, str]
) -> None:
    once = with_rules(TEXT, first, where="design.yaml")
    twice = with_rules(once, second, where="design.yaml")
    read = read_design(twice, where="design.yaml").design
    assert read.package.rules == tuple(AnswerRule(property=k, rule=v) for k, v in (first | second).items())
    before = read_design(TEXT, where="design.yaml").design
    package = read.package.model_copy(update={"rules": ()})
    assert read.model_copy(update={"package": package}) == before
    assert [line for line in twice.splitlines() if line in TEXT.splitlines()] == TEXT.splitlines()


def test_a_block_in_braces_is_left_to_a_person() -> None:
    rows = TEXT.splitlines()
    begin = rows.index("package:")
    end = next(i for i in range(begin + 1, len(rows)) if rows[i] and not rows[i].startswith(" "))
    braced = "\n".join((*rows[:begin], "package: {file: a.ova, profile: none}", *rows[end:])) + "\n"
    with pytest.raises(InputRefused, match=r"package\.rules cannot be written without changing more"):
        with_rules(braced, {"a.b": "c"}, where="design.yaml")
