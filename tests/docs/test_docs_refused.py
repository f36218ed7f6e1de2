"""The page of what is refused holds every refusal of the code, and the refusals that tests provoke are on it."""

import re
from pathlib import Path

import pytest
from docs.refused import page, refusals

from tests.package.test_package_refused import CASES, Case

PAGE = Path(__file__).parents[2] / "docs" / "refused.md"


def test_the_page_is_the_one_that_the_code_makes() -> None:
    assert PAGE.read_text(encoding="utf-8") == page(), "run: python -m docs.refused > docs/refused.md"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_what_a_test_provokes_is_on_the_page(case: Case) -> None:
    forms = [
        re.compile(re.escape(what).replace("…", ".*"), re.DOTALL)
        for rows in refusals().values()
        for what, _ in rows
        if len(re.sub("[^A-Za-z]", "", what)) > 4  # a form that is hardly more than … would fit anything
    ]
    told = re.findall(r"^error: (.*)$", case.message, flags=re.MULTILINE)
    assert told
    assert all(any(form.search(what) for form in forms) for what in told)
