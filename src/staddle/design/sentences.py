"""The sentences of ``survive`` and ``apart``: what the cluster must outlive, what is relaxed then, who stands where.

Grammar of ``survive``: ``any N KIND`` (``any 1 host``, ``any 2 racks``) or ``named: A + B``, A and B being names of the
estate; and what holds afterwards: ``afterwards N data members``, ``afterwards members share no host``, ``afterwards
others may stay down``, ``afterwards N vCPUs a core``. Grammar of ``apart``: ``KIND``, ``N a KIND``, ``deputy by KIND``,
``votes by KIND``; and what must not be too far apart, or unlike: ``data within 10 ms``, ``data on one CPU level``. What is lost in a failure is failures/'s work.
"""

import re
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from staddle.kernel import InputRefused, StaddleError, parse_duration

__all__ = [
    "Afterwards",
    "AnyOf",
    "AtMost",
    "DataWithin",
    "DeputyBy",
    "Named",
    "OneCpuLevel",
    "VotesBy",
    "find_apart_kind",
    "parse_apart",
    "parse_survive",
]

_ANY: Final = re.compile(r"any +(?P<count>[1-9][0-9]?) +(?P<kind>[a-z][a-z0-9-]*)")
_NAMED: Final = re.compile(r"named: *(?P<names>\S.*)")
_AFTERWARDS: Final = re.compile(
    r"afterwards +(?:(?P<data>[1-9][0-9]?) +data +members?|(?P<share>members +share +no +host)"
    r"|(?P<down>others +may +stay +down)|(?P<vcpus>[0-9]{1,2}(?:\.[0-9])?) +vCPUs +a +core)"
)
_WITHIN: Final = re.compile(r"data +within +(?P<span>\S.*)")
_ONE_LEVEL: Final = re.compile(r"data +on +one +CPU +level")
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


@dataclass(frozen=True, slots=True, kw_only=True)
class DataWithin:
    """No two members that hold data stand at sites with a longer round trip between them."""

    round_trip: timedelta


@dataclass(frozen=True, slots=True, kw_only=True)
class OneCpuLevel:
    """All members that hold data stand on hosts of one CPU level."""


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


def parse_apart(text: str) -> AtMost | DeputyBy | VotesBy | DataWithin | OneCpuLevel:
    """The meaning of one row: a kind of domain such as host, rack, feed, pool, array, room, site, and who is held by it;
    or how far from each other, and on what, data may stand.

    Raises: InputRefused: not such a row.
    """
    if _ONE_LEVEL.fullmatch(text):
        return OneCpuLevel()
    match = _WITHIN.fullmatch(text)
    if match and (span := _span(match["span"])) is not None:
        return DataWithin(round_trip=span)
    match = _APART.fullmatch(text)
    if match and match["who"]:
        return DeputyBy(kind=match["kind"]) if match["who"] == "deputy" else VotesBy(kind=match["kind"])
    if match:
        return AtMost(kind=match["kind"], most=int(match["most"] or 1))
    raise InputRefused.one(
        f'"{text}" is not a kind of domain',
        why="a kind is one lower-case word",
        mend='write for example host, rack, feed, pool, array, room or site; or "2 a rack", "deputy by room", '
        '"votes by site", "data within 10 ms", "data on one CPU level"',
    )


def _span(text: str) -> timedelta | None:
    try:
        return parse_duration(text) or None  # within nothing no two sites stand
    except StaddleError:
        return None


def find_apart_kind(text: str) -> str | None:
    """The kind of domain of which one row of ``apart`` speaks, if it speaks of one. Raises: InputRefused: not such a row."""
    meant = parse_apart(text)
    return meant.kind if isinstance(meant, AtMost | DeputyBy | VotesBy) else None


def _singular(word: str) -> str:
    if word.endswith(("ches", "shes", "sses", "xes")):  # switches, boxes
        return word[:-2]
    return word[:-1] if word.endswith("s") and not word.endswith(("ss", "us")) else word
