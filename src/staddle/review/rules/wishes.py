"""Rules about what the design asks of the estate: kinds and names that are there, scenarios that can be outlived."""

from collections.abc import Iterator

from staddle.design.sentences import AnyOf, Named, find_apart_kind, parse_survive
from staddle.estate.model import Estate
from staddle.failures.domains import domains_above, pool_domains_above
from staddle.kernel import Severity
from staddle.kernel.likeness import did_you_mean
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule

_OWN_KINDS = ("host", "pool")


def _scenarios(facts: Facts) -> Iterator[tuple[str, str, AnyOf | Named]]:
    for number, text in enumerate(facts.design.survive):
        meant = parse_survive(text)
        if isinstance(meant, AnyOf | Named):
            yield f"survive[{number}]", text, meant


def _count_of(estate: Estate, kind: str) -> int:
    if kind == "host":
        return len(estate.hosts)
    return len(estate.pools) if kind == "pool" else sum(one.kind == kind for one in estate.domains)


def least_lost(votes: int, *, domains: int, failing: int) -> int:
    """The fewest votes that the worst choice of ``failing`` of ``domains`` takes, however the votes are spread.

    Spread as evenly as can be, ``votes % domains`` of them hold one more than the others.
    """
    each, more = divmod(votes, domains)
    return each * min(failing, domains) + min(failing, more)


@rule(
    name="kind-not-on-estate",
    severity=Severity.STOP,
    title="The design speaks of a kind of domain that the estate does not have",
    reason="a rule about it would hold for nothing, and look as if it held",
    mend="name the domains of this kind in the estate's tables, or remove the wish",
    needs=(Need.ESTATE,),
)
def kind_not_on_estate(facts: Facts) -> Iterator[Found]:
    estate = facts.get_estate()
    known = list(dict.fromkeys((*_OWN_KINDS, *(one.kind for one in estate.domains))))
    apart = [(f"apart[{number}]", row, find_apart_kind(row)) for number, row in enumerate(facts.design.apart)]
    wishes = [(path, row, kind) for path, row, kind in apart if kind is not None]
    wishes += [(path, text, one.kind) for path, text, one in _scenarios(facts) if isinstance(one, AnyOf)]
    for path, text, kind in wishes:
        if kind not in known:
            yield Found(
                what=f'"{text}" in {path.partition("[")[0]}: the estate has no {kind}',
                where=facts.at(path),
                why=f"its kinds are {', '.join(known)}",
                mend=did_you_mean(kind, known),
            )


@rule(
    name="name-not-on-estate",
    severity=Severity.STOP,
    title="The design names something that the estate does not have",
    reason="a wish about it cannot be met, or is met by nothing",
    mend="mend the name, or the estate's tables",
    needs=(Need.ESTATE,),
)
def name_not_on_estate(facts: Facts) -> Iterator[Found]:
    estate, design = facts.get_estate(), facts.design
    hosts, pools = [one.name for one in estate.hosts], [one.name for one in estate.pools]
    domains = [one.name for one in estate.domains]
    sites = [one.name for one in estate.domains if one.kind == "site"]
    named: list[tuple[str, str, str, list[str]]] = []
    for number, member in enumerate(design.members):
        path = f"members[{number}]"
        named += [(f"{path}.site", "site", member.site, sites)] if member.site else []
        named += [(f"{path}.host", "host", member.host, hosts)] if member.host else []
        named += [
            (f"{path}.keep_out[{n}]", "host, pool or domain", name, [*hosts, *pools, *domains])
            for n, name in enumerate(member.keep_out)
        ]
    named += [(f"storage.pools[{n}]", "pool", name, pools) for n, name in enumerate(design.storage.pools)]
    for path, _, one in _scenarios(facts):
        if isinstance(one, Named):
            named += [(path, "host, pool or domain", name, [*hosts, *pools, *domains]) for name in one.names]
    for path, kind, name, known in named:
        if name not in known:
            yield Found(
                what=f'the estate has no {kind} "{name}"',
                where=facts.at(path),
                mend=did_you_mean(name, known),
            )


@rule(
    name="survive-asks-too-much",
    severity=Severity.STOP,
    title="The design asks to outlive more than its votes allow",
    reason="even spread as evenly as can be, the votes that are left are no majority",
    mend="let more members vote, or ask for less",
    needs=(Need.ESTATE,),
)
def survive_asks_too_much(facts: Facts) -> Iterator[Found]:
    votes = sum(member.votes for member in facts.design.members)
    for path, text, one in _scenarios(facts):
        if not isinstance(one, AnyOf):
            continue
        count = _count_of(facts.get_estate(), one.kind)
        if count == 0 or votes == 0:
            continue  # other rules tell of these
        lost = least_lost(votes, domains=count, failing=one.count)
        if 2 * (votes - lost) <= votes:
            counted = f"{count} {one.kind}" + ("s" if count > 1 else "")
            yield Found(
                what=f'"{text}": of {votes} votes over {counted} at least {lost} can be lost at once',
                where=facts.at(path),
            )


@rule(
    name="domain-not-surveyed",
    severity=Severity.RISK,
    title="Hosts or pools without a domain of a kind that the design speaks of",
    reason="they are not held by the rules about this kind: it is not known with what they fail",
    mend="find out and name it in the estate's tables; waive this where they are known to stand in none",
    needs=(Need.ESTATE,),
)
def domain_not_surveyed(facts: Facts) -> Iterator[Found]:
    estate = facts.get_estate()
    kinds = [
        *(kind for kind in map(find_apart_kind, facts.design.apart) if kind is not None),
        *(one.kind for _, _, one in _scenarios(facts) if isinstance(one, AnyOf)),
    ]
    for kind in dict.fromkeys(kinds):
        if kind in _OWN_KINDS:
            continue
        for noun, above in (("hosts", domains_above(estate)), ("pools", pool_domains_above(estate))):
            without = [name for name, domains in above.items() if kind not in {own for own, _ in domains}]
            if without and len(without) < len(above):
                yield Found(
                    what=f"{noun} without a {kind}: {', '.join(without)}", where="the estate's tables"
                )
