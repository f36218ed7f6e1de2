"""Every name of the glossary's last column is in the program, and no word stands there twice."""

import importlib
import re
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "docs" / "glossary.md"
ROWS = re.findall(r"^\| ([^|]+) \| ([^|]+) \| `([\w.]+)` \|$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)


def find(name: str) -> object:
    """The module or the module's attribute. Raises: AttributeError, ModuleNotFoundError: there is none."""
    module, _, last = f"staddle.{name}".rpartition(".")
    found = importlib.import_module(module)
    if not hasattr(found, last):
        return importlib.import_module(f"staddle.{name}")
    return getattr(found, last)


@pytest.mark.parametrize(
    ("word", "name"), [(word, name) for word, _, name in ROWS], ids=[row[0] for row in ROWS]
)
def test_the_name_is_in_the_program(word: str, name: str) -> None:
    assert find(name) is not None, word


def test_every_row_is_read_and_no_word_stands_twice() -> None:
    lines = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
    heads = [line for line in lines if line.startswith(("| word ", "| --- "))]
    assert len(ROWS) == len(lines) - len(heads)
    words = [word for word, _, _ in ROWS]
    assert len(words) == len(set(words)) > 50


def test_a_name_that_is_not_there_is_seen() -> None:
    with pytest.raises(ModuleNotFoundError):
        find("plan.looks.Glance")
