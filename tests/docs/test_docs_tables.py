"""Tables in the pages hold what the program has: dependencies, rooms, a profile's keys, acts and values, commands."""

import re
import tomllib
from datetime import date
from pathlib import Path

from demo.ousemoor_estate import demo_estate
from staddle.addressing.allocation import plan_addresses
from staddle.answers.resolve import known_values
from staddle.appliances.checking import NEEDED_ACTS
from staddle.cli.main import COMMANDS
from staddle.design.profile import Ask, Block, Expect, Profile
from staddle.design.reader import read_design
from tests.test_ranks import RANKS

ROOT = Path(__file__).parents[2]


def page(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def section(text: str, heading: str) -> str:
    """What stands between this heading and the next."""
    return re.split(r"^## ", text.split(f"## {heading}\n", 1)[1], maxsplit=1, flags=re.MULTILINE)[0]


def cells(text: str, column: int) -> list[str]:
    """One column of the tables in a text, without heads and lines."""
    rows = [
        [cell.strip() for cell in line.strip("|").split(" | ")]
        for line in text.splitlines()
        if line[:1] == "|"
    ]
    return [row[column] for row in rows if not set(row[0]) <= set("-| ")][1:]


def ticked(text: str) -> list[str]:
    return re.findall(r"`([^`]+)`", text)


def test_every_dependency_has_its_line() -> None:
    project = tomllib.loads(page("pyproject.toml"))["project"]
    named = {re.split(r"[>=<]", line)[0].strip() for line in project["dependencies"]}
    told = cells(page("docs/decisions/0002-dependencies.md"), 0)
    assert sorted(told) == sorted(named)


def test_every_room_has_its_line() -> None:
    told = section(page("docs/architecture.md"), "Rooms and ranks")
    rows = [(rank, ticked(room)[0]) for rank, room in zip(cells(told, 0), cells(told, 1), strict=True)]
    assert rows == [*((str(n), room) for n, rooms in enumerate(RANKS) for room in rooms), ("–", "standin")]


def test_every_key_of_a_profile_is_told() -> None:
    told = section(page("docs/profiles.md"), "The whole of it")
    assert sorted(key for cell in cells(told, 0) for key in ticked(cell)) == sorted(Profile.model_fields)
    blocks = section(page("docs/profiles.md"), "Blocks")
    for model in (Ask, Expect):
        assert set(model.model_fields) <= set(ticked(blocks))
    assert set(re.findall(r"\*\*(\w+)\*\*", blocks)) == set(Block.model_fields)


def test_every_needed_act_is_told_with_what_it_keeps() -> None:
    told = section(page("docs/profiles.md"), "The needed acts")
    acts = [ticked(cell)[0] for cell in cells(told, 0)]
    kept = [tuple(ticked(cell.split(": a list")[0])) for cell in cells(told, 3)]
    assert dict(zip(acts, kept, strict=True)) == NEEDED_ACTS


def test_every_value_that_a_rule_may_name_is_told() -> None:
    design = read_design(page("demo/levels/design.yaml"), where="design.yaml").design
    addresses = plan_addresses(design, demo_estate(surveyed=date(2026, 11, 16)).networks)
    values = known_values(design, design.members[0], addresses)
    told = section(page("docs/profiles.md"), "Answers")
    known = {re.sub(r"\.(Management|Telemetry)$", ".NET", name) for name in values}
    assert {name for cell in cells(told, 0) for name in ticked(cell)} == known


def test_every_command_is_in_the_changes() -> None:
    told = page("CHANGELOG.md")
    assert [command for command in COMMANDS if f"staddle {command}" not in told] == []
