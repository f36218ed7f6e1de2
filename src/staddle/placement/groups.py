"""The named groups of rules that hold in a question, in words of the design. A conflict is told as a set of these.

A group is what an engineer can give up or change as one: a sentence of the design, or one kind of room of the estate.
"""

from collections.abc import Callable, Iterator

from staddle.failures.minimum import FEWEST_LEADING, FEWEST_VOTES
from staddle.kernel import format_binary, format_decimal
from staddle.placement.bars import group
from staddle.placement.model import Apart, ClusterRules, ConflictRule, MemberNeed, Problem

__all__ = ["find_groups"]


def find_groups(problem: Problem) -> tuple[ConflictRule, ...]:
    """Every group of the question, those of the estate first."""
    return (
        *_of_the_estate(problem),
        *(row for rules in problem.clusters for row in _of_a_cluster(problem, rules)),
        *_of_members(problem.members),
        *_of_the_reserve(problem),
    )


def _of_the_estate(problem: Problem) -> Iterator[ConflictRule]:
    members = problem.members
    disks = any(m.disks for m in members)
    networks = ", ".join(dict.fromkeys(name for m in members for name in m.networks))
    memory = format_binary(sum(m.memory_bytes for m in members))
    written = format_decimal(sum(d.written_bytes for m in members for d in m.disks))
    promised = format_decimal(sum(d.promised_bytes for m in members for d in m.disks))
    vcpus = sum(m.vcpus for m in members)
    yield ConflictRule(
        name="memory",
        text=f"memory is not overcommitted: the members need {memory} of what the hosts have left",
        key="package.size",
    )
    yield ConflictRule(
        name="vcpus",
        text=f"vCPUs stay within each host's vCPUs per core: the members need {vcpus}",
        key="package.size",
    )
    yield ConflictRule(name="numa", text="a member fits into one NUMA node of its host", key="package.size")
    if any(m.cpu_levels for m in members):
        yield ConflictRule(
            name="cpu-level", text="the maker's limits: members stand on hosts of the CPU level they need"
        )
    if networks:
        yield ConflictRule(
            name="networks",
            text=f"a host has every network that its member is attached to: {networks}",
            key="networks",
        )
    if disks:
        yield ConflictRule(
            name="pool-reach", text="a host reaches the pools of its member's disks", key="storage"
        )
        yield ConflictRule(
            name="pool-free",
            text=f"pools keep their floor free: the disks write {written}",
            key="storage",
        )
        yield ConflictRule(
            name="pool-promise",
            text=f"pools keep their promise limit: the disks are promised {promised}",
            key="storage",
        )


def _of_a_cluster(problem: Problem, rules: ClusterRules) -> Iterator[ConflictRule]:
    members = [m for m in problem.members if m.cluster == rules.name]
    first = ", ".join(m.name for m in members if m.leads == "first")
    second = ", ".join(m.name for m in members if m.leads == "second")
    votes = sum(m.votes for m in members)

    def row(name: str, text: str, key: str) -> ConflictRule:
        return ConflictRule(name=group(rules.name, name), text=text, key=key, cluster=rules.name)

    if rules.one_cpu_level:
        yield row("one-cpu-level", "members that hold data stand on hosts of one CPU level", "apart")
    if rules.allowed_pools and any(m.disks for m in members):
        yield row("pools-named", f"storage.pools: only {', '.join(rules.allowed_pools)}", "storage.pools")
    for apart in dict.fromkeys(rules.apart):
        yield row(f"apart:{apart.kind}", _apart_text(apart), apart.key or "apart")
    if first and second:
        for kind in dict.fromkeys(rules.deputy_apart):
            text = f"the deputy {second} shares no {kind} with the leader {first}"
            yield row(f"deputy-apart:{kind}", text, "apart")
    if votes:
        for kind in dict.fromkeys(rules.majority_kinds):
            yield row(f"majority:{kind}", f"no {kind} holds half of the {votes} votes or more", "survive")
    for kind in dict.fromkeys(rules.together):
        yield row(f"together:{kind}", f"the package: all members stand in one {kind}", "package.file")
    if rules.too_far:
        pairs = "; ".join(f"{one} and {other}" for one, other in rules.too_far)
        yield row("latency", f"no data on both of two sites that are too far apart: {pairs}", "apart")


def _apart_text(apart: Apart) -> str:
    if apart.most == 1:
        return f"apart: no two members share a {apart.kind}"
    return f"apart: at most {apart.most} members in a {apart.kind}"


def _of_members(members: tuple[MemberNeed, ...]) -> Iterator[ConflictRule]:
    asks: tuple[tuple[str, str, Callable[[MemberNeed], tuple[str, ...]]], ...] = (
        ("site", "site", lambda m: (m.site,)),
        ("pin", "host", lambda m: (m.pinned_to,)),
        ("keep-out", "keep_out", lambda m: m.keep_out),
    )
    words = {"site": "at", "pin": "on", "keep-out": "out of"}
    for rule, field, asked in asks:
        rows: dict[str, list[int]] = {}
        for position, member in enumerate(members):
            for name in asked(member):
                if name:
                    rows.setdefault(name, []).append(position)
        for name, positions in rows.items():
            who = ", ".join(members[i].name for i in positions)
            first = members[positions[0]]
            row = sum(m.cluster == first.cluster for m in members[: positions[0]])
            yield ConflictRule(
                name=f"{rule}:{name}",
                text=f"members.{field}: {who} {words[rule]} {name}",
                key=f"members[{row}].{field}",
                cluster=first.cluster,
            )


def _of_the_reserve(problem: Problem) -> Iterator[ConflictRule]:
    for survive in problem.reserve.survive if problem.reserve else ():
        members = [m for m in problem.members if m.cluster == survive.cluster]
        left = [f"{survive.least_data} data members"] if survive.least_data else []
        left += ["most of the votes"] if sum(m.votes for m in members) >= FEWEST_VOTES else []
        left += ["one that may lead"] if sum(m.leads != "never" for m in members) >= FEWEST_LEADING else []
        whose = "member and guest" if survive.others_restart else "member"
        yield ConflictRule(
            name=group(survive.cluster, f"survive:{survive.sentence}"),
            text=f"survive: after {survive.sentence} {', '.join(left) or 'nothing'} must be left, and every displaced "
            f"{whose} restarts",
            key=survive.key or "survive",
            cluster=survive.cluster,
        )
