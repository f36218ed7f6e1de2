"""A cluster as availability sees it: its members, what each stands on, and what it needs to serve. Plain values.

Whoever knows estate and placement makes one of these (jobs); nothing here knows where the values came from.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from staddle.kernel import Fault, InputRefused

__all__ = ["Cluster", "DomainKey", "Standing"]

DomainKey = tuple[str, str]  # (kind, name), as failures.domains gives them


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One member and everything whose failure takes it down: its host, the pools of its disks, all that these stand in.

    ``outlives`` are those among them after whose failure it restarts on another host instead of awaiting the repair.
    ``leads`` is "first", "second" or "never".
    """

    member: str
    domains: tuple[DomainKey, ...]
    outlives: frozenset[DomainKey] = frozenset()
    data: bool = True
    votes: bool = True
    leads: str = "never"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cluster:
    """Members in the order in which they would lead, all else equal.

    It serves while ``data_needed`` members that hold data are up, more than half of the votes, and one that may lead; where
    no member votes, or none may lead, that rule says nothing.
    Raises: InputRefused: no member, two of one name, or more data needed than there is.
    """

    members: tuple[Standing, ...]
    data_needed: int = 1

    def __post_init__(self) -> None:
        twice = [name for name, count in Counter(one.member for one in self.members).items() if count > 1]
        holding = sum(one.data for one in self.members)
        faults = [Fault(what=f'member "{name}" stands twice') for name in twice]
        if not self.members:
            faults.append(Fault(what="a cluster without members has no availability"))
        if not 0 <= self.data_needed <= holding:
            faults.append(Fault(what=f"{self.data_needed} members with data are needed, {holding} hold data"))
        if faults:
            raise InputRefused(*faults)

    @property
    def votes_needed(self) -> int:
        """More than half of the votes; 0 where nobody votes."""
        votes = sum(one.votes for one in self.members)
        return votes // 2 + 1 if votes else 0

    def leading_order(self) -> tuple[int, ...]:
        """The members that may lead, as indices: the first leader, then its deputies."""
        ranks = {"first": 0, "second": 1}
        able = [i for i, one in enumerate(self.members) if one.leads in ranks]
        return tuple(sorted(able, key=lambda i: ranks[self.members[i].leads]))

    def touched(self) -> dict[DomainKey, tuple[int, ...]]:
        """Each domain with the members that it takes down, in the order in which they are first met."""
        found: dict[DomainKey, list[int]] = {}
        for number, one in enumerate(self.members):
            for key in dict.fromkeys(one.domains):
                found.setdefault(key, []).append(number)
        return {key: tuple(members) for key, members in found.items()}

    def kinds(self) -> tuple[str, ...]:
        """The kinds of domain that some member stands in."""
        return tuple(dict.fromkeys(kind for kind, _ in self.touched()))

    def names(self, members: tuple[int, ...]) -> str:
        """Members in words."""
        return ", ".join(self.members[i].member for i in members)

    def with_domains(self, kind: str, names: tuple[tuple[str, ...], ...]) -> "Cluster":
        """The same members with other domains of one kind. Args: names: a tuple for each member, in their order.

        A member outlives the failure of its new domain as it did that of any old one of the kind.
        """
        return replace(self, members=tuple(self._moved(kind, names)))

    def _moved(self, kind: str, names: tuple[tuple[str, ...], ...]) -> Iterator[Standing]:
        for one, fresh in zip(self.members, names, strict=True):
            keys = tuple((kind, name) for name in fresh)
            outlived = any(key[0] == kind for key in one.outlives)
            yield replace(
                one,
                domains=(*(key for key in one.domains if key[0] != kind), *keys),
                outlives=frozenset(key for key in one.outlives if key[0] != kind)
                | frozenset(keys if outlived else ()),
            )
