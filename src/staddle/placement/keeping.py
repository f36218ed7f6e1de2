"""What must be set on a platform so that its own balancing and restarting do not undo a placement. Pure.

A platform that moves machines by itself knows nothing of the design: apart by rack, who restarts first, and that memory
is promised in full have to be told to it. In here stands what, in words of the design; how a platform calls it, and
whether it was set, is the business of whoever sets it. Not here: whether the placement is valid (verify.py).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from staddle.failures.running import Running
from staddle.kernel import format_binary
from staddle.placement.bars import host_bars
from staddle.placement.model import ClusterRules, HostRoom, MemberNeed, Problem, Seat

__all__ = ["KeepApart", "Keeping", "MemberKeeping", "apart_in_words", "keeping_of", "lines_of"]

_OF_TODAY: Final = frozenset({"memory", "vcpus"})  # bars of room that is taken now and may be free tomorrow
_OWN_KINDS: Final = frozenset({"host", "pool"})  # kept by KeepApart and by pools, not by a list of hosts
_MOST_NAMES: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class KeepApart:
    """Members of which at most ``most`` may run on one host. ``after_a_failure``: then too, else only while all hosts run."""

    cluster: str
    members: tuple[str, ...]
    most: int
    after_a_failure: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MemberKeeping:
    """What is to be set for one member.

    ``hosts`` are those on which it may run while all hosts run, and ``within`` the domains (kind, name) that it must not
    leave; both are () where the design asks for nothing of the kind. ``site`` is where it restarts, "" for anywhere.
    ``memory_bytes`` are to be reserved whole. It restarts after ``starts_after`` and before so many as ``starts_before`` of
    the guests at its host's site.
    """

    member: str
    host: str
    hosts: tuple[str, ...]
    within: tuple[tuple[str, str], ...]
    site: str
    disks: tuple[tuple[str, str], ...]
    memory_bytes: int
    restart_order: int
    starts_after: tuple[str, ...]
    starts_before: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """Everything that is to be set for one placement; ``members`` in the order of the question."""

    apart: tuple[KeepApart, ...]
    members: tuple[MemberKeeping, ...]


def keeping_of(problem: Problem, seats: tuple[Seat, ...]) -> Keeping:
    """What keeps these seats. Args: seats: valid ones; members without a seat are left out."""
    by_member = {seat.member: seat for seat in seats}
    ground = _Ground(problem)
    return Keeping(
        apart=tuple(row for rules in problem.clusters for row in _apart(problem, rules, by_member)),
        members=tuple(
            _member(problem, member, by_member[member.name], ground)
            for member in problem.members
            if member.name in by_member
        ),
    )


def _apart(problem: Problem, rules: ClusterRules, seats: dict[str, Seat]) -> Iterator[KeepApart]:
    own = [member for member in problem.members if member.cluster == rules.name and member.name in seats]
    after = problem.reserve is not None and rules.name in problem.reserve.apart_after
    # At most so many by the design; votes by host ask for fewer where more would hold half of them.
    most = min((row.most for row in rules.apart if row.kind == "host"), default=len(own))
    if most < len(own):
        names = tuple(member.name for member in own)
        yield KeepApart(cluster=rules.name, members=names, most=most, after_a_failure=after)
    votes = [member.name for member in own if member.votes]
    fewer_than_half = max(1, (len(votes) - 1) // 2)
    if "host" in rules.majority_kinds and fewer_than_half < min(most, len(votes)):
        yield KeepApart(cluster=rules.name, members=tuple(votes), most=fewer_than_half, after_a_failure=after)
    pair = tuple(member.name for member in own if member.leads in ("first", "second"))
    if "host" in rules.deputy_apart and len(pair) > 1 and most > 1:
        yield KeepApart(cluster=rules.name, members=pair, most=1, after_a_failure=after)


class _Ground:
    """Hosts and running machines, put in order once for all members: a large estate has many of both."""

    def __init__(self, problem: Problem) -> None:
        self.hosts: Final = {host.name: host for host in problem.hosts}
        self.reach: Final = {host.name: (set(host.domains), set(host.pools)) for host in problem.hosts}
        sites = {name: _site(host) for name, host in self.hosts.items()}
        self._beside: Final[dict[str, list[Running]]] = {site: [] for site in sites.values()}
        for machine in problem.reserve.machines if problem.reserve is not None else ():
            self._beside.setdefault(sites.get(machine.host, ""), []).append(machine)
        for machines in self._beside.values():
            machines.sort(key=_order)
        self._before: Final[dict[tuple[str, int], tuple[tuple[str, ...], int]]] = {}

    def starts(self, host: HostRoom, order: int) -> tuple[tuple[str, ...], int]:
        """The machines at the host's site that restart before that order, and how many do after it."""
        site = _site(host)
        if (site, order) not in self._before:
            beside = self._beside[site]
            first = tuple(one.name for one in beside if one.restart_order < order)
            self._before[site, order] = first, sum(one.restart_order > order for one in beside)
        return self._before[site, order]


def _member(problem: Problem, member: MemberNeed, seat: Seat, ground: _Ground) -> MemberKeeping:
    here = ground.hosts[seat.host]
    rules = problem.rules_of(member)
    kinds = {row.kind for row in rules.apart} | set(rules.majority_kinds) | set(rules.together)
    if member.leads in ("first", "second"):
        kinds |= set(rules.deputy_apart)
    if member.site or (member.data and rules.too_far):
        kinds.add("site")
    within = tuple(key for key in here.domains if key[0] in kinds - _OWN_KINDS)
    asked = bool(within or member.pinned_to or member.keep_out)
    pools = {pool for _, pool in seat.disks}
    starts_after, starts_before = ground.starts(here, member.restart_order)
    return MemberKeeping(
        member=member.name,
        host=seat.host,
        hosts=tuple(
            host.name
            for host in problem.hosts
            if asked
            and ground.reach[host.name][0].issuperset(within)
            and ground.reach[host.name][1] >= pools
            and all(bar.name in _OF_TODAY for bar in host_bars(member, host))
        ),
        within=within,
        site=member.site,
        disks=seat.disks,
        memory_bytes=member.memory_bytes,
        restart_order=member.restart_order,
        starts_after=starts_after,
        starts_before=starts_before,
    )


def _order(machine: Running) -> tuple[int, str]:
    return machine.restart_order, machine.name


def _site(host: HostRoom) -> str:
    return next((name for kind, name in host.domains if kind == "site"), "")


# in words


def apart_in_words(row: KeepApart) -> str:
    """One keep-apart rule as a sentence."""
    names = ", ".join(row.members)
    many = f"at most {row.most} of {names} on one host" if row.most > 1 else f"{names}: no two on one host"
    return f"{many}, {'also while a host is down' if row.after_a_failure else 'except while a host is down'}"


def lines_of(keeping: Keeping, member: str) -> tuple[tuple[str, str], ...]:
    """What is to be set for one member, as (what, value). Raises: KeyError: no such member."""
    own = {row.member: row for row in keeping.members}[member]
    apart = [apart_in_words(row) for row in keeping.apart if member in row.members]
    pools = ", ".join(dict.fromkeys(pool for _, pool in own.disks))
    rows = [("Keep apart", "; ".join(apart))] if apart else []
    rows.append(("Run on", _hosts(own)))
    if pools:
        rows.append(("Disks stay in", f"{pools}: nothing moves them by itself"))
    memory = format_binary(own.memory_bytes)
    rows.append(
        ("Reserve memory", f"{memory}, all of it; none taken back while it runs, none swapped by the host")
    )
    rows.append(("Restart", _restart(own)))
    return tuple(rows)


def _hosts(own: MemberKeeping) -> str:
    if not own.hosts:
        return "any host"
    where = " and ".join(
        f"{kind} {name}" for kind, name in own.within if kind != "site" or len(own.within) == 1
    )
    elsewhere = f"another one at {own.site}" if own.site else "another one"
    return f"{_some(own.hosts)}{f' ({where})' if where else ''}; {elsewhere} only while none of these can"


def _restart(own: MemberKeeping) -> str:
    text = f"by itself, in order {own.restart_order}"
    if own.starts_after:
        text += f", after {len(own.starts_after)} guests with a lower one ({_some(own.starts_after, most=3)})"
    return text + (f", before {own.starts_before} others" if own.starts_before else "")


def _some(names: tuple[str, ...], *, most: int = _MOST_NAMES) -> str:
    rest = len(names) - most
    return ", ".join(names[:most]) + (f" and {rest} more" if rest > 0 else "")
