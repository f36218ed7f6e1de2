"""What the page about placement tells is what the program has: sentences, levels, outcomes and costs."""

import re
from pathlib import Path

from staddle.cli.place import place
from staddle.design.sentences import parse_apart, parse_survive
from staddle.placement.cost import LEVELS
from staddle.placement.fates import FATE_WEIGHT_OF_OTHERS, FATE_WEIGHTS
from staddle.placement.mends import COSTS

PAGE = (Path(__file__).parents[2] / "docs" / "placement.md").read_text(encoding="utf-8")


def rows(head: str) -> list[list[str]]:
    """The rows of the table whose first heading is this one, of all such tables."""
    found: list[list[str]] = []
    for table in re.findall(rf"^\| {head} \|.*\n\| --- .*\n((?:\|.*\n)+)", PAGE, re.MULTILINE):
        found += [[cell.strip() for cell in line.strip("|").split(" | ")] for line in table.splitlines()]
    return found


def test_every_sentence_that_is_told_is_understood() -> None:
    sentences = [row[0].strip("`") for row in rows("sentence")]
    apart, survive = sentences[:6], sentences[6:]
    assert [type(parse_apart(text)).__name__ for text in apart] == [
        "AtMost",
        "AtMost",
        "DeputyBy",
        "VotesBy",
        "DataWithin",
        "OneCpuLevel",
    ]
    assert [type(parse_survive(text)).__name__ for text in survive] == [
        "AnyOf",
        "AnyOf",
        "Named",
        *["Afterwards"] * 4,
    ]


def test_the_levels_are_told_in_their_order() -> None:
    assert tuple(row[0] for row in rows("level")) == LEVELS


def test_the_weights_of_shared_fate_are_told() -> None:
    told = re.search(r"a host weighs (\d), a pool (\d), any other kind (\d)", PAGE)
    assert told is not None
    weights = (FATE_WEIGHTS["host"], FATE_WEIGHTS["pool"], FATE_WEIGHT_OF_OTHERS)
    assert tuple(map(int, told.groups())) == weights
    assert set(FATE_WEIGHTS) == {"host", "pool"}


def test_the_costs_of_changes_are_told() -> None:
    assert {row[0].strip("`"): float(row[1]) for row in rows("change")} == COSTS


def test_every_option_is_told() -> None:
    own = set(place.__kwdefaults__ or {}) - {"options", "settle_it"} | {"settle"}
    assert own <= set(re.findall(r"--([a-z]+)", PAGE))
