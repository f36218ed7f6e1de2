"""The sentences of ``survive`` and ``apart``: what the cluster must outlive, what is relaxed then, who stands apart.

Grammar of ``survive``: ``any N KIND`` (``any 1 host``, ``any 2 racks``) or ``named: A + B``, A and B being names of the
estate; and what holds afterwards: ``afterwards N data members``, ``afterwards members share no host``, ``afterwards
others may stay down``, ``afterwards N vCPUs a core``. Grammar of ``apart``: ``KIND``, ``N a KIND``, ``deputy by KIND``,
``votes by KIND``. What is lost in a failure is failures/'s work.
"""

import re
from dataclasses import dataclass
from typing import Final

from staddle.kernel import InputRefused

__all__ = [
    "Afterwards",
    "AnyOf",
    "AtMost",
    "DeputyBy",
    "Named",
    "VotesBy",
    "apart_kind",
    "parse_apart",
    "parse_survive",
]

_ANY: Final = re.compile(r"any +(?P<count>[1-9][0-9]?) +(?P<kind>[a-z][a-z0-9-]*)")
_NAMED: Final = re.compile(r"named: *(?P<names>\S.*)")
_AFTERWARDS: Final = re.compile(
    r"afterwards +(?:(?P<data>[1-9][0-9]?) +data +members?|(?P<share>members +share +no +host)"
    r"|(?P<down>others +may +stay +down)|(?P<vcpus>[0-9]{1,2}(?:\.[0-9])?) +vCPUs +a +core)"
)
_WORD: Final = r"(?P<kind>[a-z][a-z0-9-]*)"
_APART: Final = re.compile(rf"(?:(?P<most>[1-9][0-9]?) +an? +|(?P<who>deputy|votes) +by +)?{_WORD}")


@dataclass(frozen=True, slots=True, kw_only=True)
class AnyOf:
    """Every choice of ``count`` domains of a kind, failed together."""

    count: int
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """These hosts or domains, failed together."""

    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Afterwards:
    """What holds after a failure; each sentence says one of these, the others are as if it said nothing."""

    least_data: int | None = None
    members_share_no_host: bool = False
    others_stay_down: bool = False
    vcpu_per_core: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class AtMost:
    """At most so many members in one domain of a kind."""

    kind: str
    most: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class DeputyBy:
    """The deputy shares no domain of this kind with the leader."""

    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class VotesBy:
    """No domain of this kind holds half of the votes or more."""

    kind: str


def parse_survive(text: str) -> AnyOf | Named | Afterwards:
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
    match = _AFTERWARDS.fullmatch(text)
    if match and match["vcpus"] is not None and float(match["vcpus"]) <= 0:
        match = None
    if match:
        return Afterwards(
            least_data=None if match["data"] is None else int(match["data"]),
            members_share_no_host=match["share"] is not None,
            others_stay_down=match["down"] is not None,
            vcpu_per_core=None if match["vcpus"] is None else float(match["vcpus"]),
        )
    raise InputRefused.one(
        f'"{text}" is not understood',
        why='"any N KIND", "named: A + B" or "afterwards …" is expected',
        mend='write for example "any 1 host", "any 2 racks", "named: rack-a + feed-2", "afterwards 2 data members", '
        '"afterwards members share no host", "afterwards others may stay down" or "afterwards 6 vCPUs a core"',
    )


def parse_apart(text: str) -> AtMost | DeputyBy | VotesBy:
    """The meaning of one row: a kind of domain such as host, rack, feed, pool, array, room, site, and who is held by it.

    Raises: InputRefused: not such a row.
    """
    match = _APART.fullmatch(text)
    if match and match["who"]:
        return DeputyBy(kind=match["kind"]) if match["who"] == "deputy" else VotesBy(kind=match["kind"])
    if match:
        return AtMost(kind=match["kind"], most=int(match["most"] or 1))
    raise InputRefused.one(
        f'"{text}" is not a kind of domain',
        why="a kind is one lower-case word",
        mend='write for example host, rack, feed, pool, array, room or site; or "2 a rack", "deputy by room", '
        '"votes by site"',
    )


def apart_kind(text: str) -> str:
    """The kind of domain of which one row of ``apart`` speaks. Raises: InputRefused: not such a row."""
    return parse_apart(text).kind


def _singular(word: str) -> str:
    if word.endswith(("ches", "shes", "sses", "xes")):  # switches, boxes
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith(("ss", "us")) else word
