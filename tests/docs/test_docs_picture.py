"""The README's picture is what the demo's job gives."""

from pathlib import Path

from demo.picture import picture

COMMITTED = Path(__file__).parents[2] / "docs" / "picture.svg"


def test_the_committed_picture_is_what_the_demo_draws() -> None:
    assert COMMITTED.read_text(encoding="utf-8") == picture(), "run python -m demo.picture and look at it"
