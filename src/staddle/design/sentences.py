"""The sentences of ``survive``: what the cluster must outlive. What is lost then is failures/'s work.

Grammar: ``any N KIND`` (``any 1 host``, ``any 2 racks``) or ``named: A + B``, A and B being names of the estate.
"""

import re
from dataclasses import dataclass
from typing import Final

from staddle.kernel import InputRefused

__all__ = ["AnyOf", "Named", "parse_kind", "parse_survive"]

_ANY: Final = re.compile(r"any +(?P<count>[1-9][0-9]?) +(?P<kind>[a-z][a-z0-9-]*)")
_NAMED: Final = re.compile(r"named: *(?P<names>\S.*)")
_KIND: Final = re.compile(r"[a-z][a-z0-9-]*")


@dataclass(frozen=True, slots=True, kw_only=True)
class AnyOf:
    """Every choice of ``count`` domains of a kind, failed together."""

    count: int
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """These hosts or domains, failed together."""

    names: tuple[str, ...]


def parse_survive(text: str) -> AnyOf | Named:
    """The meaning of one sentence. Kinds come back in the singular: "any 2 racks" has kind "rack".

    Raises: InputRefused: not such a sentence.
    """
    match = _ANY.fullmatch(text)
    if match:
        return AnyOf(count=int(match["count"]), kind=_singular(match["kind"]))
    match = _NAMED.fullmatch(text)
    if match:
        names = tuple(name.strip() for name in match["names"].split("+"))
        if all(names) and len(set(names)) == len(names):
            return Named(names=names)
    raise InputRefused.one(
        f'"{text}" is not understood',
        why='"any N KIND" or "named: A + B" is expected',
        mend='write for example "any 1 host", "any 2 racks" or "named: rack-a + feed-2"',
    )


def parse_kind(text: str) -> str:
    """A kind of domain: one lower-case word such as host, rack, feed, pool, array, room, site.

    Raises: InputRefused: not such a word.
    """
    if not _KIND.fullmatch(text):
        raise InputRefused.one(
            f'"{text}" is not a kind of domain',
            why="a kind is one lower-case word",
            mend="write for example host, rack, feed, pool, array, room or site",
        )
    return text


def _singular(word: str) -> str:
    if word.endswith(("ches", "shes", "sses", "xes")):  # switches, boxes
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith(("ss", "us")) else word
