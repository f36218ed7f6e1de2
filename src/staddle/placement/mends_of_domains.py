"""One more domain on the estate as a change: a rack, feed or room more, with a host and, where pools stand in such, a pool.

The new host is as large as the largest at the site and empty; the new pool has as much left as the one beside that host, and
every host of the site that reaches that one reaches it. Failures that the design means by their kind take the new ones too.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from staddle.failures.scenario import Scenario
from staddle.placement.change import Change, mend_of
from staddle.placement.model import HostRoom, PoolRoom, Problem, Reserve, Survive

__all__ = ["changes_of_domains"]

_OWN_KINDS: Final = frozenset({"host", "pool", "site"})
_MOST_SCENARIOS: Final = (
    5000  # of one sentence; beyond, what one domain more means for it is not written down
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _New:
    kind: str
    name: str
    host: HostRoom
    pool: PoolRoom | None

    def failing_with(self, kind: str) -> Scenario | None:
        """What fails when the new one of that kind does."""
        pools = () if self.pool is None else (self.pool.name,)
        contents = {
            "host": (self.host.name, (self.host.name,), ()),
            "pool": ("" if self.pool is None else self.pool.name, (), pools),
            self.kind: (self.name, (self.host.name,), pools),
        }
        name, hosts, own = contents.get(kind, ("", (), ()))
        if not name:
            return None
        return Scenario(name=f"{kind} {name}", hosts=hosts, pools=own, domains=((kind, name),))


def changes_of_domains(problem: Problem, names: set[str]) -> Iterator[Change]:
    """One more of each kind of domain that a rule in conflict speaks of, at each site where members may stand."""
    sites = {member.site for member in problem.members}
    for kind in _kinds(problem, names):
        for site in dict.fromkeys(
            name for host in problem.hosts for own, name in host.domains if own == "site"
        ):
            if site in sites or "" in sites:
                yield from _one_more(problem, kind, site)
        if not any(own == "site" for host in problem.hosts for own, _ in host.domains):
            yield from _one_more(problem, kind, "")


def _kinds(problem: Problem, names: set[str]) -> list[str]:
    spoken = [name.partition(":")[2].partition(" of ")[0] for name in sorted(names)]
    asked = [
        kind
        for row in (problem.reserve.survive if problem.reserve else ())
        if any(name.startswith(f"survive:{row.sentence}") for name in names)
        for scenario in row.scenarios[:1]
        for kind, _ in scenario.domains
    ]
    there = {kind for host in problem.hosts for kind, _ in host.domains} - _OWN_KINDS
    return [kind for kind in dict.fromkeys((*spoken, *asked)) if kind in there]


def _one_more(problem: Problem, kind: str, site: str) -> Iterator[Change]:
    near = [
        host
        for host in problem.hosts
        if any(own == kind for own, _ in host.domains) and (not site or ("site", site) in host.domains)
    ]
    if not near:
        return
    like = max(near, key=lambda host: (len(host.networks), host.memory_total_bytes))
    name = f"one more {kind}"
    new = _New(
        kind=kind, name=name, host=_host(problem, like, kind, name), pool=_pool(problem, like, kind, name)
    )
    text = f"{name}{f' at {site}' if site else ''}, with a host like {like.name}, empty"
    pools, hosts = problem.pools, problem.hosts
    if new.pool is not None:
        before = _beside(problem, like, kind)
        text += f", and a pool with as much left as {before.name}"
        pools = (*pools, new.pool)
        hosts = tuple(
            replace(h, pools=(*h.pools, new.pool.name)) if before.name in h.pools else h for h in hosts
        )
    changed = replace(problem, hosts=(*hosts, new.host), pools=pools)
    if problem.reserve is not None:
        reserve = _reserve(problem.reserve, like, new, before.name if new.pool else "")
        if reserve is None:
            return
        changed = replace(changed, reserve=reserve)
    yield mend_of("more domains", text), changed


def _host(problem: Problem, like: HostRoom, kind: str, name: str) -> HostRoom:
    stand = next(
        (row for row in (problem.reserve.stands if problem.reserve else ()) if row.name == like.name), None
    )
    pool = _pool(problem, like, kind, name)
    return replace(
        like,
        name=f"host of {name}",
        memory_bytes=like.memory_total_bytes if stand is None else stand.memory_bytes,
        vcpus=like.vcpus if stand is None else int(stand.cores * like.vcpu_per_core),
        pools=like.pools if pool is None else (*like.pools, pool.name),
        domains=_renamed(like.domains, kind, name),
    )


def _beside(problem: Problem, like: HostRoom, kind: str) -> PoolRoom:
    """The pool that the host reaches in a domain of that kind, its own before others."""
    own = {name for k, name in like.domains if k == kind}
    inside = [pool for pool in problem.pools if pool.name in like.pools and _in_kind(pool, kind)]
    return max(inside, key=lambda pool: (not own.isdisjoint(n for _, n in pool.domains), pool.free_bytes))


def _in_kind(pool: PoolRoom, kind: str) -> bool:
    return any(own == kind for own, _ in pool.domains) and not any(own == "host" for own, _ in pool.domains)


def _pool(problem: Problem, like: HostRoom, kind: str, name: str) -> PoolRoom | None:
    """A pool in the new domain, where those that the host reaches stand in such domains."""
    if not any(_in_kind(pool, kind) for pool in problem.pools if pool.name in like.pools):
        return None
    before = _beside(problem, like, kind)
    domains = tuple(
        (own, f"{own} of {name}") if own not in ("site", kind) else (own, other)
        for own, other in _renamed(before.domains, kind, name)
    )
    return replace(before, name=f"pool of {name}", domains=domains)


def _renamed(domains: Sequence[tuple[str, str]], kind: str, name: str) -> tuple[tuple[str, str], ...]:
    return tuple((own, name if own == kind else other) for own, other in domains)


def _reserve(reserve: Reserve, like: HostRoom, new: _New, pool_like: str) -> Reserve | None:
    """After a failure too; None where a sentence means more scenarios than are written down here."""
    survive = []
    for row in reserve.survive:
        scenarios = _scenarios(row, new)
        if scenarios is None:
            return None
        survive.append(replace(row, scenarios=scenarios))
    stands = []
    for stand in reserve.stands:
        more = (new.pool.name,) if new.pool is not None and pool_like in stand.pools else ()
        wider = replace(stand, pools=(*stand.pools, *more))
        stands.append(wider)
        if stand.name == like.name:
            stands.append(replace(wider, name=new.host.name, pools=new.host.pools))
    return replace(reserve, survive=tuple(survive), stands=tuple(stands))


def _scenarios(row: Survive, new: _New) -> tuple[Scenario, ...] | None:
    if len(row.scenarios) > _MOST_SCENARIOS:
        return None
    before = tuple(_with_new(scenario, new) for scenario in row.scenarios)
    kinds = {kind for scenario in row.scenarios for kind, _ in scenario.domains}
    counts = {len(scenario.domains) for scenario in row.scenarios}
    if not row.sentence.startswith("any ") or len(kinds) != 1:
        return before  # named ones name nothing new
    failing = new.failing_with(kinds.pop())
    if failing is None:
        return before
    if counts == {1}:
        return (*before, failing)
    return None


def _with_new(scenario: Scenario, new: _New) -> Scenario:
    """The same failure, and what is new in one of its domains."""
    failed = set(scenario.domains)
    hosts = (new.host.name,) if failed & set(new.host.domains) else ()
    pool = new.pool
    pools = (pool.name,) if pool is not None and failed & set(pool.domains) else ()
    return replace(scenario, hosts=(*scenario.hosts, *hosts), pools=(*scenario.pools, *pools))
