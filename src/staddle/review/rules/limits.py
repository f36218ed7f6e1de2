"""Rules about the maker's limits: what is unknown, and where the job goes beyond them."""

from collections.abc import Iterator
from typing import Final

from staddle.design.limits import Limit
from staddle.design.limitvalues import processor_reaches
from staddle.kernel import Severity
from staddle.review.facts import Facts, Need
from staddle.review.rule import Found, rule
from staddle.review.standing import names_text, standings

_OLD_DAYS: Final = 548  # 18 months: as long as a supported version usually lasts; common practice, no source
_SOURCE: Final = "the maker's limits, limits.yaml"


def _cited(limit: Limit) -> str:
    return f"{limit.what} {limit.written} ({limit.paper()})"


@rule(
    name="limits-not-written",
    severity=Severity.RISK,
    title="What the maker supports was not looked up",
    reason="nobody can say that the maker helps when this cluster fails",
    mend="fill limits.yaml from the maker's papers; staddle limits --start begins it, --form asks the maker",
)
def limits_not_written(facts: Facts) -> Iterator[Found]:
    if facts.limits is None:
        yield Found(what="there is no limits.yaml beside design.yaml", where="limits.yaml")


@rule(
    name="limit-unknown",
    severity=Severity.NOTE,
    title="One of the maker's limits is unknown; a risk where it decides whether the cluster is supported at all",
    reason="the plan may be beyond it without anybody noticing",
    mend="look it up, or ask the maker with staddle limits --form",
    needs=(Need.LIMITS,),
)
def limit_unknown(facts: Facts) -> Iterator[Found]:
    limits = facts.get_limits()
    for question, place in limits.unknown():
        yield Found(
            what=f"{question.what} is unknown: {question.asks}",
            where=place,
            severity=Severity.RISK if question.weighty else None,
        )


@rule(
    name="limit-paper-old",
    severity=Severity.NOTE,
    title="A limit comes from a paper older than 18 months, or from one dated ahead",
    reason="versions and limits change; the newest paper decides what is supported",
    mend="look the value up in the newest paper, and write its date",
    needs=(Need.LIMITS,),
)
def limit_paper_old(facts: Facts) -> Iterator[Found]:
    for limit in facts.get_limits().rows:
        days = (facts.today - limit.dated).days
        if days > _OLD_DAYS:
            yield Found(what=f"the paper of {_cited(limit)} is {days} days old", where=limit.place)
        elif days < 0:
            yield Found(what=f"the paper of {_cited(limit)} is dated ahead", where=limit.place)


@rule(
    name="members-against-limits",
    severity=Severity.STOP,
    title="The number of members is outside the maker's limits",
    reason="the maker has not tried such a cluster and does not support it",
    mend="change the number of members, or have the maker agree in writing",
    source=_SOURCE,
    needs=(Need.LIMITS, Need.PACKAGE),
)
def members_against_limits(facts: Facts) -> Iterator[Found]:
    limits = facts.get_limits()
    for limit in (*limits.of("members-fewest"), *limits.of("members-most")):
        number = sum(limit.is_about(member, facts.size_of(member)) for member in facts.design.members)
        of_kind = "" if limit.applies_to == "all" else f" ({limit.applies_to})"
        few = limit.what == "members-fewest"
        if number < limit.value if few else number > limit.value:
            # A kind of which the cluster has none at all is not wanted, rather than too few of it.
            if few and not number and limit.applies_to != "all":
                continue
            bound = "at least" if few else "at most"
            yield Found(
                what=f"{number} {'member' if number == 1 else 'members'}{of_kind}; the maker supports {bound} "
                f"{limit.value} ({limit.paper()})",
                where=facts.at("members"),
            )


@rule(
    name="size-against-limits",
    severity=Severity.RISK,
    title="A member has a size that the maker does not allow for its kind",
    reason="the maker has not tried such a member and does not support it",
    mend="choose one of the allowed sizes, or have the maker agree in writing",
    source=_SOURCE,
    needs=(Need.LIMITS, Need.PACKAGE),
)
def size_against_limits(facts: Facts) -> Iterator[Found]:
    allowed = facts.get_limits().of("size")
    if not allowed:
        return
    for number, member in enumerate(facts.design.members):
        size = facts.size_of(member)
        kind = "data" if member.data else "without data"
        sizes = [limit.written for limit in allowed if limit.applies_to in ("all", kind)]
        where = facts.at(f"members[{number}].size" if member.size else "package.size")
        if not sizes:
            yield Found(
                what=f"{member.name} ({kind}) is {size}; which sizes such a member may have is unknown",
                where=where,
            )
        elif size.casefold() not in {one.casefold() for one in sizes}:
            yield Found(
                what=f"{member.name} ({kind}) is {size or 'the only size'}; the maker allows {names_text(tuple(sizes))}",
                where=where,
            )


@rule(
    name="system-type-against-limits",
    severity=Severity.RISK,
    title="The package asks for a type of virtual hardware that the maker's papers do not name",
    reason="paper and package disagree: one of them is not of this version",
    mend="compare the versions of paper and package, or ask the maker",
    source="DSP0243, VirtualSystemType; the maker's limits, limits.yaml",
    needs=(Need.LIMITS, Need.PACKAGE),
)
def system_type_against_limits(facts: Facts) -> Iterator[Found]:
    allowed = facts.get_limits().of("system-type")
    known = {limit.written.casefold() for limit in allowed}
    sizes = dict.fromkeys(facts.size_of(member) for member in facts.design.members)
    for size in sizes:
        types = facts.get_package().get_hardware(size).system_types
        if allowed and types and not known.intersection(one.casefold() for one in types):
            yield Found(
                what=f"size {size or 'of the package'} is for {names_text(types)}; the maker's papers name "
                f"{names_text(tuple(limit.written for limit in allowed))}",
                where=allowed[0].place,
            )


@rule(
    name="platform-against-limits",
    severity=Severity.RISK,
    title="A member stands on a platform or version that the maker does not support",
    reason="the maker has not tried it there and does not help when it fails",
    mend="settle the member on a supported host, or have the maker agree in writing",
    source=_SOURCE,
    needs=(Need.LIMITS, Need.ESTATE, Need.SEATS),
)
def platform_against_limits(facts: Facts) -> Iterator[Found]:
    allowed = facts.get_limits().of("platform")
    if not allowed:
        return
    supported = names_text(tuple(limit.written for limit in allowed))
    for one in standings(facts):
        name, version = one.host.platform, one.host.platform_version
        says = f"{one.member.name} stands on {one.host.name}"
        if not name:
            yield Found(
                what=f"{says}, whose platform is not in the tables; the maker supports {supported}",
                where=f"host {one.host.name}",
                severity=Severity.NOTE,
                mend="write platform and platform_version into hosts.csv",
            )
            continue
        verdicts = [
            limit.value.holds(version) for limit in allowed if limit.value.name.casefold() == name.casefold()
        ]
        if True in verdicts:
            continue
        unclear = None in verdicts
        told = f"{name} {version}".strip()
        yield Found(
            what=f"{says}: {told}; the maker supports {supported}"
            + (", which cannot be compared with that version" if unclear else ""),
            where=f"host {one.host.name}",
            severity=Severity.NOTE if unclear else None,
            mend="write the whole platform_version into hosts.csv, in numbers" if unclear else "",
        )


@rule(
    name="processor-against-limits",
    severity=Severity.RISK,
    title="A member's host offers less than the processor level that the maker asks for",
    reason="the member's program may stop at an instruction that the processor does not have",
    mend="settle the member on a host of at least that level",
    source="the maker's limits, limits.yaml; levels in the order of the x86-64 psABI (from memory)",
    needs=(Need.LIMITS, Need.ESTATE, Need.PACKAGE, Need.SEATS),
)
def processor_against_limits(facts: Facts) -> Iterator[Found]:
    for limit in facts.get_limits().of("processor-level"):
        for one in standings(facts):
            if not limit.is_about(one.member, facts.size_of(one.member)):
                continue
            level = one.host.cpu_level
            reaches = processor_reaches(level, limit.written)
            if reaches is None:
                yield Found(
                    what=f'{one.member.name} stands on {one.host.name}, whose level "{level}" cannot be compared with '
                    f"{_cited(limit)}",
                    where=f"host {one.host.name}",
                    severity=Severity.NOTE,
                    mend="write both as levels of the x86-64 psABI, such as x86-64-v3, or compare them by hand",
                )
            elif not reaches:
                yield Found(
                    what=f"{one.member.name} stands on {one.host.name}, which offers {level}; the maker asks for "
                    f"{limit.written} ({limit.paper()})",
                    where=f"host {one.host.name}",
                )


@rule(
    name="disk-growth-against-limits",
    severity=Severity.RISK,
    title="A disk is to be larger than the package's although the maker does not allow it",
    reason="the maker does not support it; an upgrade may expect the package's own capacity",
    mend="remove the capacity from storage.disks, or have the maker agree in writing",
    source=_SOURCE,
    needs=(Need.LIMITS,),
)
def disk_growth_against_limits(facts: Facts) -> Iterator[Found]:
    for limit in facts.get_limits().of("disk-growth"):
        for number, disk in enumerate(facts.design.storage.disks):
            if limit.value == "not" and disk.capacity is not None:
                yield Found(
                    what=f"disk {disk.disk} is to have {disk.capacity}; the maker says: not ({limit.paper()})",
                    where=facts.at(f"storage.disks[{number}].capacity"),
                )


@rule(
    name="licences-too-few",
    severity=Severity.RISK,
    title="The licences do not cover every member",
    reason="the last member may refuse to join, in the middle of the window",
    mend="ask for the missing licences before the window",
    source=_SOURCE,
    needs=(Need.LIMITS,),
)
def licences_too_few(facts: Facts) -> Iterator[Found]:
    limits, members = facts.get_limits(), len(facts.design.members)
    held = limits.of("licences-held")
    for limit in limits.of("licence-members"):
        needed = -(-members // limit.value)
        covers = f"one licence covers {limit.value} ({limit.paper()}), so {members} members need {needed}"
        if held and held[0].value < needed:
            yield Found(what=f"{covers}; {held[0].value} held ({held[0].paper()})", where=held[0].place)
        elif not held and needed > 1:
            yield Found(what=f"{covers}; how many are held is unknown", where=limit.place)
