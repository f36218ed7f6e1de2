"""Changes of the design's own rules and wishes: what may be given up. Not here: room and attachments (mends_of_room.py)."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from staddle.placement.bars import group
from staddle.placement.change import Change, mend_of
from staddle.placement.model import Apart, ClusterRules, MemberNeed, Problem, Survive

__all__ = ["changes_of_rules"]


def changes_of_rules(problem: Problem, names: set[str]) -> Iterator[Change]:
    """What may be given up. Args: names: the groups of rules in conflict."""
    for rules in problem.clusters:
        yield from _without_rules(problem, rules, names)
    yield from _without_wishes(problem, names)
    yield from _without_scenarios(problem, names)


def _without_rules(problem: Problem, rules: ClusterRules, names: set[str]) -> Iterator[Change]:
    of = f" of {rules.name}" if rules.name else ""

    def changed(**fields: object) -> Problem:
        other = replace(rules, **fields)  # type: ignore[arg-type]  # fields of the value
        return replace(problem, clusters=tuple(other if row == rules else row for row in problem.clusters))

    for apart in rules.apart:
        if group(rules.name, f"apart:{apart.kind}") in names:
            more = Apart(kind=apart.kind, most=apart.most + 1, key=apart.key)
            rows = tuple(more if row == apart else row for row in rules.apart)
            text = f'let {more.most} members{of} share a {apart.kind} (apart: "{more.most} a {apart.kind}")'
            weight = 2.0 if apart.kind == "host" else 0.0
            yield mend_of("give up a rule", text, more=weight), changed(apart=rows)
            rest = tuple(row for row in rules.apart if row != apart)
            text = f"let any number of members{of} share a {apart.kind}"
            yield mend_of("give up a rule", text, more=weight + 1), changed(apart=rest)
    for kind in rules.deputy_apart:
        if group(rules.name, f"deputy-apart:{kind}") in names:
            rest_kinds = tuple(row for row in rules.deputy_apart if row != kind)
            text = f"let the deputy{of} share a {kind} with the leader"
            yield mend_of("give up a rule", text), changed(deputy_apart=rest_kinds)
    for kind in rules.majority_kinds:
        if group(rules.name, f"majority:{kind}") in names:
            rest_kinds = tuple(row for row in rules.majority_kinds if row != kind)
            text = f"let one {kind} hold half of the votes{of}"
            yield mend_of("give up a rule", text, more=3), changed(majority_kinds=rest_kinds)
    for kind in rules.together:
        if group(rules.name, f"together:{kind}") in names:
            text = f"let members{of} stand in more than one {kind}, against the package's wish"
            rest_kinds = tuple(row for row in rules.together if row != kind)
            yield mend_of("give up a rule", text), changed(together=rest_kinds)
    if group(rules.name, "one-cpu-level") in names:
        text = f"level the CPUs of the platform, so that members{of} may stand on hosts of different levels"
        yield mend_of("give up a rule", text), changed(one_cpu_level=False)
    if group(rules.name, "pools-named") in names:
        text = f"allow any pool for the disks{of} (storage.pools)"
        yield mend_of("give up a wish", text), changed(allowed_pools=())
    if group(rules.name, "latency") in names:
        text = f"let data{of} stand at sites that are far from each other"
        yield mend_of("give up a rule", text, more=3), changed(too_far=())


def _without_wishes(problem: Problem, names: set[str]) -> Iterator[Change]:
    asks: tuple[tuple[str, Callable[[MemberNeed, str], MemberNeed], str], ...] = (
        ("pin", lambda m, name: replace(m, pinned_to="" if m.pinned_to == name else m.pinned_to), "any host"),
        ("site", lambda m, name: replace(m, site="" if m.site == name else m.site), "any site"),
        (
            "keep-out",
            lambda m, name: replace(m, keep_out=tuple(row for row in m.keep_out if row != name)),
            "{name} too",
        ),
    )
    for rule, drop, where in asks:
        for name in sorted(own.partition(":")[2] for own in names if own.startswith(f"{rule}:")):
            members = tuple(drop(member, name) for member in problem.members)
            pairs = zip(problem.members, members, strict=True)
            who = ", ".join(old.name for old, new in pairs if old != new)
            text = f"let {who} stand on {where.format(name=name)}"
            yield mend_of("give up a wish", text), replace(problem, members=members)


def _without_scenarios(problem: Problem, names: set[str]) -> Iterator[Change]:
    """A sentence of one cluster, and where several ask for the same, that of all of them at once."""
    reserve = problem.reserve
    asked = [
        row
        for row in (reserve.survive if reserve else ())
        if group(row.cluster, f"survive:{row.sentence}") in names
    ]
    alike: dict[str, list[Survive]] = {}
    for row in asked:
        alike.setdefault(row.sentence, []).append(row)
    for rows in [[row] for row in asked] + [rows for rows in alike.values() if len(rows) > 1]:
        clusters = " and ".join(row.cluster for row in rows)
        of = f" ({clusters})" if len(problem.clusters) > 1 else ""
        text = f'do not ask to outlive "{rows[0].sentence}"{of}'
        yield mend_of("give up a rule", text, more=4), _with_survive(problem, rows, ())
        waiting = [row for row in rows if row.others_restart]
        if waiting:
            fewer = [replace(row, others_restart=False) for row in rows]
            text = (
                f'let guests of others stay down after "{rows[0].sentence}" (survive: afterwards others may stay '
                f"down){of}"
            )
            yield mend_of("give up a rule", text, more=2), _with_survive(problem, rows, fewer)


def _with_survive(problem: Problem, rows: Sequence[Survive], others: Sequence[Survive]) -> Problem:
    """The question with these sentences, in their order, instead of those; left out where there are no others."""
    assert problem.reserve is not None
    instead = dict(zip(map(id, rows), others, strict=bool(others)))
    survive = tuple(
        instead.get(id(row), row)
        for row in problem.reserve.survive
        if others or not any(row is own for own in rows)
    )
    return replace(problem, reserve=replace(problem.reserve, survive=survive))
