"""Which kind of failure domain a heading names: words of the trade, common practice, no source. And how kinds nest."""

import re
from typing import Final

from staddle.estate.export import plain_key

__all__ = ["INTO_SITE", "KIND_WORDS", "NESTED", "SITE", "TWOFOLD", "kind_of_heading", "kind_order"]

SITE: Final = "site"
NESTED: Final = (SITE, "building", "room", "rack")
"""From the outermost inwards: each of a kind stands in one of the kinds before it."""

TWOFOLD: Final = ("feed", "switch")
"""What a host may have two of. Whoever has two different ones fails with neither, and so stands in neither."""

INTO_SITE: Final = TWOFOLD
"""Kinds that are known to stand in a site and no deeper: that all hosts of a feed share a rack puts the feed in no rack."""

KIND_WORDS: Final[dict[str, tuple[str, ...]]] = {
    SITE: ("site", "site name", "data centre", "data center", "datacentre", "datacenter", "campus"),
    "building": ("building", "building name"),
    "room": ("room", "room name", "hall", "data hall", "computer room", "server room", "machine room"),
    "rack": ("rack", "rack name", "cabinet", "cabinet name"),
    "feed": ("feed", "power feed", "supply feed", "electrical feed"),
    "switch": ("switch", "switch pair", "access switch", "network switch"),
    "array": ("array", "storage array", "array name", "disk array"),
}
_NUMBERED: Final = re.compile(r" (?:\d|[a-d])$")


def kind_of_heading(noun: str, heading: str) -> str:
    """The kind that a heading of a table of hosts or pools names, "" where it names none.

    Example: kind_of_heading("host", "Power feed B") == "feed"
    """
    key = plain_key(heading)
    bare = _NUMBERED.sub("", key)
    for kind, words in KIND_WORDS.items():
        if kind == "array" and noun != "pool":
            continue  # what a host reaches, it does not stand in
        if key in words or (kind in TWOFOLD and bare in words):
            return kind
    return ""


def kind_order(kind: str) -> int:
    """The place of the kind in a table of domains: outermost first, what nests nowhere by its kind last."""
    kinds = (*NESTED, *TWOFOLD, "array")
    return kinds.index(kind) if kind in kinds else len(kinds)
