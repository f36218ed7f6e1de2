"""The kept inputs of the fuzz target, each read or refused as parts.py promises. ``make fuzz`` invents further ones."""

from pathlib import Path

import pytest

from staddle.package.descriptor import read_descriptor
from tests.fuzz.parts import CORPUS, PARTS, in_memory

KEPT = sorted(path.relative_to(CORPUS).as_posix() for path in CORPUS.glob("*/*"))


@pytest.mark.parametrize("kept", KEPT)
def test_a_kept_input_is_read_or_refused(kept: str) -> None:
    PARTS[Path(kept).parent.name]((CORPUS / kept).read_bytes())


def test_every_part_begins_with_kept_inputs() -> None:
    # The part "mutilated" changes the kept descriptors; it needs none of its own.
    assert {Path(kept).parent.name for kept in KEPT} >= PARTS.keys() - {"mutilated"}


@pytest.mark.parametrize("name", ["plain.ovf", "rich.ovf", "together.ovf"])
def test_the_descriptors_to_begin_with_are_sound(name: str) -> None:
    # Otherwise changing them would only try the first refusal again and again.
    assert read_descriptor(in_memory((CORPUS / "descriptor" / name).read_bytes())).hardware
