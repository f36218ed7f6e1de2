"""Why each member stands where it stands, and why not on the other hosts, in words. Pure, no search in here.

"The others staying" is the measure throughout: one member is put on another host, its disks on the best pools that
fit there, and the first rule broken, or the first level that gets worse, is told. Beside it stands the true next best
placement where the caller searched for it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import chain, islice, product
from typing import Final

from staddle.kernel import format_binary
from staddle.placement.cost import LEVELS, host_fill, level_values, shared_domains
from staddle.placement.data import Tables
from staddle.placement.fill import fill_permille
from staddle.placement.model import ConflictRule, HostRoom, PassedOver, Seat

__all__ = ["NextBest", "Put", "explain", "put", "worse_in_words"]

_MOST_POOL_CHOICES: Final = (
    64  # pools tried for one member on one host: its present ones, then by table order
)
_MOST_PAIRS: Final = 300  # beyond so many pairs of member and host only the fewer choices are tried
_FEWER_POOL_CHOICES: Final = 4
_MOST_TOLD: Final = 5  # hosts passed over of a large estate, for each kind of member
_MOST_PAIRS_MOVED: Final = 4000  # beyond, hosts are ranked by their own fill alone


@dataclass(frozen=True, slots=True, kw_only=True)
class NextBest:
    """The best seats of all members when none of them may use a certain host; () when none exist."""

    seats: tuple[Seat, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Put:
    """One member put on another host, the others staying.

    ``bar`` is the first rule at rest that is broken, "" for none; then ``seats`` are everybody's, and ``text`` tells the
    first level that gets worse. Whether what is left after a failure is enough is not asked.
    """

    bar: str
    seats: tuple[Seat, ...] = ()
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Move:
    """One member put elsewhere, the others staying: what bars it, or the levels it leads to and the seats."""

    bar: str
    values: tuple[int, ...] = ()
    seats: tuple[Seat, ...] = ()


def explain(
    tables: Tables, seats: tuple[Seat, ...], *, next_best: Mapping[str, NextBest]
) -> tuple[tuple[tuple[str, str], ...], tuple[PassedOver, ...]]:
    """The reasons, one (member, text) in the order of members, and the hosts passed over, class by class of members.

    Args: seats: valid, in the order of the members; next_best: by the host not used; one without an entry is told to be unknown.
    """
    problem = tables.problem
    able = [
        frozenset(h.name for h in problem.hosts if not _own_bar(tables, positions[0], h))
        for positions in tables.classes
    ]
    reasons = tuple(
        (
            member.name,
            _reason(
                tables,
                seats,
                position,
                able[tables.class_of[member.name]],
                next_best.get(seats[position].host),
            ),
        )
        for position, member in enumerate(problem.members)
    )
    large = len(seats) * len(problem.hosts) > _MOST_PAIRS_MOVED
    tell = _passed_by_fill if large else _passed_over
    return reasons, tuple(row for positions in tables.classes for row in tell(tables, seats, positions))


def _reason(
    tables: Tables, seats: tuple[Seat, ...], position: int, able: frozenset[str], other: NextBest | None
) -> str:
    seat = seats[position]
    parts = [
        f"{seat.host}: {_standing(tables, seats, position, able)}",
        _leaves(tables, seats, position),
        _shares(tables, seats, position),
        _against(tables, seats, position, other),
    ]
    before = tables.settled.get(seat.member)
    if before is not None and before.host != seat.host:
        parts.insert(1, f"it was settled on {before.host}")
    return "; ".join(part for part in parts if part)


def _standing(tables: Tables, seats: tuple[Seat, ...], position: int, able: frozenset[str]) -> str:
    """How many hosts could take the member by themselves, in the narrowest domain in which it stands alone."""
    member, seat = tables.problem.members[position], seats[position]
    where, names = "", able
    kinds = {apart.kind for apart in tables.rules_of(member).apart if apart.most == 1}
    touched = tables.touched(seat)
    for fate in tables.fates:
        if fate.kind in kinds and fate.kind not in ("host", "pool") and (fate.kind, fate.name) in touched:
            inside = able & {tables.problem.hosts[h].name for h in fate.hosts}
            if seat.host in inside and len(inside) < len(names):
                where, names = f" in {fate.kind} {fate.name}", inside
    count = "the only host" if len(names) == 1 else f"one of {len(names)} hosts"
    pools = ", ".join(dict.fromkeys(pool for _, pool in seat.disks))
    reach = f", reaching pool {pools}" if pools else ""
    memory = format_binary(member.memory_bytes)
    return f"{count}{where} with {memory} and {member.vcpus} vCPUs left for it{reach}"


def _leaves(tables: Tables, seats: tuple[Seat, ...], position: int) -> str:
    return f"leaves its memory {_percent(host_fill(tables, seats, seats[position].host))} full"


def _shares(tables: Tables, seats: tuple[Seat, ...], position: int) -> str:
    shared = shared_domains(tables, seats, seats[position].member)
    if not shared:
        return "shares nothing below its site" if len(seats) > 1 else ""
    return "shares " + _listed(shared)


def _listed(shared: tuple[tuple[str, str, str], ...]) -> str:
    others: dict[tuple[str, str], list[str]] = {}
    for kind, name, other in shared:
        others.setdefault((kind, name), []).append(other)
    return ", ".join(f"{kind} {name} with {' and '.join(with_)}" for (kind, name), with_ in others.items())


def _against(tables: Tables, seats: tuple[Seat, ...], position: int, other: NextBest | None) -> str:
    if len(tables.problem.hosts) == 1:
        return "there is no other host"
    if other is None:
        return "the next best was not searched for"
    if not other.seats:
        return "without it no placement exists"
    present = {seat.host for seat in seats}
    instead = ", ".join(dict.fromkeys(seat.host for seat in other.seats if seat.host not in present))
    return f"without it the best takes {instead or 'the other hosts'}, {worse_in_words(tables, seats, other.seats, position)}"


def worse_in_words(tables: Tables, seats: tuple[Seat, ...], other: tuple[Seat, ...], position: int) -> str:
    """The first level at which the other seats are worse for that member, in words."""
    here, there = level_values(tables, seats), level_values(tables, other)
    member = seats[position].member
    for level, now, then in zip(LEVELS, here, there, strict=True):
        if then == now or level == "table order":
            continue
        if level == "shared fate":
            before = shared_domains(tables, seats, member)
            added = tuple(row for row in shared_domains(tables, other, member) if row not in before)
            own = f"sharing {_listed(added)}" if added else "with more shared among the members"
            return f"{own} (shared fate {then} rather than {now})"
        if level == "movement":
            return f"moving {then} of what is settled rather than {now}"
        if level == "fill after a failure":
            return f"{_percent(then)} full after the worst failure rather than {_percent(now)}"
        return f"with the fullest {level.split()[0]} at {_percent(then)} rather than {_percent(now)}"
    return "equal on every level, later in the tables"


def _passed_over(tables: Tables, seats: tuple[Seat, ...], positions: tuple[int, ...]) -> list[PassedOver]:
    """One row for each host that no member of the class uses: the possible ones ranked first, then the barred ones."""
    names = tuple(tables.problem.members[i].name for i in positions)
    taken = {seats[i].host for i in positions}
    ranked: list[tuple[tuple[int, ...], int, int, _Move]] = []
    barred: list[PassedOver] = []
    for h, host in enumerate(tables.problem.hosts):
        if host.name in taken:
            continue
        moves = [
            (i, _moved(tables, seats, i, host))
            for i in positions[: 1 if _own_bar(tables, positions[0], host) else None]
        ]
        possible = [(move.values, h, i, move) for i, move in moves if not move.bar]
        if possible:
            ranked.append(min(possible, key=lambda row: row[:3]))
        else:
            barred.append(PassedOver(host=host.name, reason=moves[0][1].bar, members=names))
    rows = []
    for rank, (_, h, i, move) in enumerate(sorted(ranked, key=lambda row: row[:3]), start=1):
        text = worse_in_words(tables, seats, move.seats, i)
        who = f" for {tables.problem.members[i].name}" if len(positions) > 1 else ""
        reason = f"possible{who}, number {rank} of those passed over: {text}"
        rows.append(PassedOver(host=tables.problem.hosts[h].name, reason=reason, members=names))
    return rows + barred


def _passed_by_fill(tables: Tables, seats: tuple[Seat, ...], positions: tuple[int, ...]) -> list[PassedOver]:
    """The same on large estates: the next emptiest hosts, ranked by their own fill alone; the others are counted by rule."""
    member = tables.problem.members[positions[0]]
    names = tuple(tables.problem.members[i].name for i in positions)
    taken = {seats[i].host for i in positions}
    ranked: list[tuple[int, int]] = []
    barred: dict[str, int] = {}
    for h, host in enumerate(tables.problem.hosts):
        bars = () if host.name in taken else tables.alone_bars(positions[0], host)
        if bars:
            rule = bars[0].name.partition(":")[0]
            barred[rule] = barred.get(rule, 0) + 1
        elif host.name not in taken:
            needs = [host.memory_for(member)]
            ranked.append((fill_permille(host.memory_total_bytes, host.memory_bytes, needs), h))
    rows = [
        PassedOver(
            host=tables.problem.hosts[h].name,
            reason=f"possible by itself, number {rank} of {len(ranked)} by fill: it would be {_percent(fill)} full",
            members=names,
        )
        for rank, (fill, h) in enumerate(sorted(ranked)[:_MOST_TOLD], start=1)
    ]
    return rows + [
        PassedOver(host=f"{count} hosts", reason=f"{rule}: by themselves (--why tells of one)", members=names)
        for rule, count in barred.items()
    ]


def _own_bar(tables: Tables, position: int, host: HostRoom) -> str:
    """The first rule by which the host alone cannot take the member, "" if it can."""
    return next((_told(bar) for bar in tables.alone_bars(position, host)), "")


def _told(bar: ConflictRule) -> str:
    # What comes after the colon in the group's name says which wish it is; the text says so already.
    return f"{bar.name.partition(':')[0]}: {bar.text}"


def _moved(tables: Tables, seats: tuple[Seat, ...], position: int, host: HostRoom) -> _Move:
    """The member on that host with the best pools there; the others stay."""
    own = _own_bar(tables, position, host)
    if own:
        return _Move(bar=own)
    member = tables.problem.members[position]
    choices = [
        [p.name for p in tables.pools_of[tables.host_at[host.name]] if not tables.pool_bars(member, disk, p)]
        for disk in member.disks
    ]
    present = tuple(pool for _, pool in seats[position].disks)
    staying = all(pool in choice for pool, choice in zip(present, choices, strict=True))
    large = len(seats) * len(tables.problem.hosts) > _MOST_PAIRS
    most = _FEWER_POOL_CHOICES if large else _MOST_POOL_CHOICES
    best = _Move(bar="")
    for pools in islice(chain((present,) if staying else (), product(*choices)), most):
        disks = tuple((disk.disk_id, pool) for disk, pool in zip(member.disks, pools, strict=True))
        seat = Seat(member=member.name, host=host.name, disks=disks)
        moved = (*seats[:position], seat, *seats[position + 1 :])
        bar = _joint_bar(tables, moved, position)
        if bar:
            best = best if best.bar or best.values else _Move(bar=bar)
            continue
        values = level_values(tables, moved)
        if not best.values or values < best.values:
            best = _Move(bar="", values=values, seats=moved)
    return best


def put(tables: Tables, seats: tuple[Seat, ...], *, position: int, host: HostRoom) -> Put:
    """One member on that host, its disks on the best pools there, and all others where they are.

    Args: seats: one a member, in the order of the members; position: of the member among them.
    """
    move = _moved(tables, seats, position, host)
    if move.bar:
        return Put(bar=move.bar)
    return Put(bar="", seats=move.seats, text=worse_in_words(tables, seats, move.seats, position))


def _joint_bar(tables: Tables, seats: tuple[Seat, ...], position: int) -> str:
    """The first rule that the member's seat breaks together with those of the others, "" if none."""
    return _overfull(tables, seats, position) or _togetherness(tables, seats, position)


def _overfull(tables: Tables, seats: tuple[Seat, ...], position: int) -> str:
    problem = tables.problem
    seat = seats[position]
    host = problem.hosts[tables.host_at[seat.host]]
    there = [m for m, s in zip(problem.members, seats, strict=True) if s.host == host.name]
    others = ", ".join(m.name for m in there if m.name != seat.member)
    if sum(host.memory_for(m) for m in there) > host.memory_bytes:
        return f"memory: too little is left beside {others}"
    if sum(host.vcpus_for(m) for m in there) > host.vcpus:
        return f"vcpus: too few are left beside {others}"
    for name in dict.fromkeys(pool for _, pool in seat.disks):
        pool = problem.pools[tables.pool_at[name]]
        disks = [
            disk
            for m, s in zip(problem.members, seats, strict=True)
            for disk, (_, taken) in zip(m.disks, s.disks, strict=True)
            if taken == name
        ]
        if sum(d.written_bytes for d in disks) > pool.free_bytes:
            return f"pool-free: pool {name} has too little left above its floor"
        if sum(d.promised_bytes for d in disks) > pool.promise_bytes:
            return f"pool-promise: pool {name} may not promise that much"
    return ""


def _togetherness(tables: Tables, seats: tuple[Seat, ...], position: int) -> str:
    problem = tables.problem
    member = problem.members[position]
    touched = [tables.touched(seat) for seat in seats]
    rules = tables.rules_of(member)
    own = tables.members_of(rules)
    host = problem.hosts[tables.host_at[seats[position].host]]
    for i in own if member.data else ():
        m, there = problem.members[i], problem.hosts[tables.host_at[seats[i].host]]
        if m.data and rules.one_cpu_level and there.cpu_level != host.cpu_level:
            return f'cpu-level: its level is "{host.cpu_level}", {m.name} stands on "{there.cpu_level}"'
        for pair in rules.too_far if m.data else ():
            if i != position and {_site(host), _site(there)} == set(pair):
                return f"latency: {_site(host)} is too far from {_site(there)}, where {m.name} holds data"
    for kind in rules.together:
        near = {name for k, name in (("host", host.name), *host.domains) if k == kind}
        for i in own:
            there = problem.hosts[tables.host_at[seats[i].host]]
            if i != position and not near & {
                n for k, n in (("host", there.name), *there.domains) if k == kind
            }:
                return f"together:{kind}: it would leave the {kind} of {problem.members[i].name}"
    votes = [i for i in own if problem.members[i].votes]
    most = {apart.kind: apart.most for apart in rules.apart}
    for key in sorted(touched[position], key=tables.fate_at.__getitem__):
        fate = tables.fates[tables.fate_at[key]]
        sharing = [problem.members[i].name for i in own if i != position and key in touched[i]]
        if fate.kind in most and len(sharing) >= most[fate.kind]:
            return f"apart:{fate.kind}: it would share {fate.kind} {fate.name} with {', '.join(sharing)}"
        for i in own:
            m = problem.members[i]
            both_lead = {m.leads, member.leads} == {"first", "second"} and fate.kind in rules.deputy_apart
            if i != position and key in touched[i] and both_lead:
                return f"deputy-apart:{fate.kind}: it would share {fate.kind} {fate.name} with {m.name}"
        held = sum(key in touched[i] for i in votes)
        if fate.kind in rules.majority_kinds and member.votes and 2 * held >= len(votes):
            return f"majority:{fate.kind}: {fate.kind} {fate.name} would hold {held} of {len(votes)} votes"
    return ""


def _site(host: HostRoom) -> str:
    return next((name for kind, name in host.domains if kind == "site"), "")


def _percent(permille: int) -> str:
    return f"{permille / 10:g} %"
