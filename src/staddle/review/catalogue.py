"""All rules, found by looking into rules/: a new file there is enough."""

import importlib
import pkgutil
from functools import cache

from staddle.kernel import OurFault
from staddle.review import rules
from staddle.review.rule import Rule

__all__ = ["all_rules"]


@cache
def all_rules() -> tuple[Rule, ...]:
    """Every rule, by topic (the files' names) and in the order of each file.

    Raises: OurFault: two rules have one name.
    """
    found: dict[str, Rule] = {}
    for topic in sorted(info.name for info in pkgutil.iter_modules(rules.__path__)):
        module = importlib.import_module(f"{rules.__name__}.{topic}")
        for one in vars(module).values():
            if not isinstance(one, Rule):
                continue
            if one.name in found:
                raise OurFault.one(f'two rules are called "{one.name}"', where=topic)
            found[one.name] = one
    return tuple(found.values())
