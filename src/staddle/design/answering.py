"""Writing rules for the package's questions into the text of a design, for people who would rather not edit it.

Only ``package.rules`` changes; every other line stays as it is written. What rules mean is answers/resolve.py's.
"""

from collections.abc import Mapping

from staddle.design.model import AnswerRule
from staddle.design.places import Places
from staddle.design.reader import read_design
from staddle.design.yamltext import yaml_scalar
from staddle.kernel import InputRefused

__all__ = ["with_rules"]


def with_rules(text: str, rules: Mapping[str, str], *, where: str) -> str:
    """The design's text with these rules, each in the place of an earlier one for the same question.

    Args: text: a design that reads without a fault; rules: property -> rule.
    Raises: InputRefused: the design has faults, or is laid out so that nothing but package.rules cannot be changed.
    """
    read = read_design(text, where=where)
    merged = {row.property: row.rule for row in read.design.package.rules} | dict(rules)
    lines = text.splitlines()
    begin, end = _rows(read.places)
    column = read.places.keys[("package", "file")].column - 1
    indent = " " * column
    block = [f"{indent}rules:"]
    for key, rule in merged.items():
        block += [f"{indent}  - property: {yaml_scalar(key)}", f"{indent}    rule: {yaml_scalar(rule)}"]
    made = "\n".join((*lines[:begin], *block, *lines[end:])) + "\n"
    wanted = read.design.model_copy(
        update={
            "package": read.design.package.model_copy(
                update={"rules": tuple(AnswerRule(property=key, rule=rule) for key, rule in merged.items())}
            )
        }
    )
    try:
        same = read_design(made, where=where).design == wanted
    except InputRefused:
        same = False
    if not same:
        raise InputRefused.one(
            "package.rules cannot be written without changing more of the design",
            where=read.places.find("package"),
            why="the block is not laid out as one key a line",
            mend='write it by hand: a row "property: …" and "rule: …" each, under rules: of package',
        )
    return made


def _rows(places: Places) -> tuple[int, int]:
    """Lines from and before which package.rules stands, counted from 0; the line after package.file where it is missing."""
    mine = [spot.line for path, spot in places.values.items() if path[:2] == ("package", "rules")]
    if not mine:
        after = places.values[("package", "file")].line
        return after, after
    return places.keys[("package", "rules")].line - 1, max(mine)
