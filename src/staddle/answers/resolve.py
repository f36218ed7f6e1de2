"""Answering the package's questions from the design, by stated rules.

In order: the member's explicit answer, the job's explicit answer, the design's rule, the profile's rule, the package's default for the
size. What none of them answers is open: a question to the engineer, never a guess. So is what only the package answers
with one text for all members although each has its own (its address, its name), or otherwise than the design says.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from staddle.addressing.allocation import AddressPlan
from staddle.answers.likely import Meaning, likely_meaning
from staddle.answers.model import AnswerRow, Answers, MemberAnswers
from staddle.design.model import Answer, Design, Member
from staddle.design.profile import Profile
from staddle.kernel import Fault, InputRefused, parse_duration
from staddle.kernel.likeness import did_you_mean
from staddle.package import Package, Property, check_answer
from staddle.trust.secretnames import FIRST_PASSWORD, property_secret_name

__all__ = ["known_values", "resolve_answers"]

_HOLE: Final = re.compile(r"\$\{([^}]*)\}")

_SAID_AT: Final[Mapping[str, str]] = {
    "cluster_name": "names.cluster",
    "name_servers": "names.servers",
    "time_servers": "clock.servers",
    "retention": "load.retention",
    "retention_days": "load.retention",
    "deputy": "members (leads: second)",
}
"""The design's key for a value that it may leave empty."""


def resolve_answers(
    *, design: Design, package: Package, profile: Profile | None, addresses: AddressPlan, size_id: str
) -> Answers:
    """The answers of every member to every question that is offered in its size.

    Args: profile: None while nobody wrote one; size_id: the size of members that name none of their own.
    Returns: rows in the package's order; what nothing answers is open.
    Raises: InputRefused: an explicit answer to an unknown, fixed or secret question, or one not asked in that size; a
        value that the question does not allow; a rule of the profile that names an unknown value. All faults at once.
    """
    faults: list[Fault] = []
    members = []
    sizes = tuple(member.size or size_id for member in design.members)
    first = "" if profile is None else profile.password_property
    for number, (member, size) in enumerate(zip(design.members, sizes, strict=True)):
        asked = [prop for prop in package.properties if prop.user_configurable and prop.offered_in(size)]
        explicit = _explicit(design, number, package, sizes, faults)
        rules = _rules(design, package, profile, sizes, faults)
        values = known_values(design, member, addresses)
        rows = tuple(_row(prop, size, explicit, rules, first, values, faults) for prop in asked)
        members.append(MemberAnswers(member=member.name, size=size, rows=rows))
    if faults:
        raise InputRefused(*dict.fromkeys(faults))
    return Answers(members=tuple(members))


def known_values(design: Design, member: Member, addresses: AddressPlan) -> dict[str, str]:
    """What ``${name}`` may stand for in a profile's rule, for one member."""
    mine = addresses.get_member(member.name)
    full = {one.name: one.full_name for one in addresses.members}
    servers = design.names.servers or addresses.named_address(member.name).dns_servers
    values = {
        "fqdn": mine.full_name,
        "name": member.name,
        "zone": design.names.zone,
        "cluster": design.job.cluster,
        "cluster_name": addresses.cluster,
        "name_servers": ",".join(servers),
        "time_servers": ",".join(design.clock.servers),
        "time_zone": design.clock.zone,
        "retention": design.load.retention or "",
        "retention_days": _days(design.load.retention),
        "leader": next((full[m.name] for m in design.members if m.leads == "first"), ""),
        "deputy": next((full[m.name] for m in design.members if m.leads == "second"), ""),
    }
    for one in reversed(mine.addresses):  # the first attachment of a package network gives the plain name
        values[f"address.{one.package_network}"] = one.address
        values[f"prefix.{one.package_network}"] = str(one.prefix_length)
        values[f"netmask.{one.package_network}"] = one.netmask
        values[f"gateway.{one.package_network}"] = one.gateway
    for network in {one.package_network for one in mine.addresses}:
        values[f"addresses.{network}"] = ",".join(
            one.address for one in mine.addresses if one.package_network == network
        )
    return values


def _days(span: str | None) -> str:
    # Rounded up: what must be kept is a need.
    return "" if span is None else str(-(-parse_duration(span) // timedelta(days=1)))


def _explicit(
    design: Design, number: int, package: Package, sizes: tuple[str, ...], faults: list[Fault]
) -> Mapping[str, tuple[Answer, str]]:
    """The answers of the design that hold for one member, with their places. ``sizes`` are those of all members."""
    known = {prop.key: prop for prop in package.properties}
    own = (sizes[number],)
    placed = [(answer, f"package.answers[{i}]", sizes) for i, answer in enumerate(design.package.answers)]
    mine = design.members[number].answers
    placed += [(answer, f"members[{number}].answers[{i}]", own) for i, answer in enumerate(mine)]
    found: dict[str, tuple[Answer, str]] = {}
    for answer, where, meant in placed:
        fault = _refused(answer.property, known, where, meant)
        if fault is not None:
            faults.append(fault)
        elif known[answer.property].offered_in(sizes[number]):
            found[answer.property] = (answer, where)
    return found


def _refused(key: str, known: Mapping[str, Property], where: str, meant: tuple[str, ...]) -> Fault | None:
    """Why the design may not answer this at all. Args: meant: sizes of the members it speaks of."""
    if key not in known:
        mend = did_you_mean(key, known) or "staddle package lists the questions"
        return Fault(what=f'the package asks no question "{key}"', where=where, mend=mend)
    if known[key].password:
        return Fault(
            what=f'"{key}" is a secret and is answered in the design',
            where=where,
            why="the design is plain text for version control",
            mend="remove it here and change that secret; the tool draws one and keeps it in the strongbox",
        )
    if not known[key].user_configurable:
        return Fault(
            what=f'"{key}" is fixed by the maker and is answered in the design',
            where=where,
            why="the package does not mark the property as configurable by the user",
            mend="remove the answer",
        )
    if not any(known[key].offered_in(size) for size in meant):
        return Fault(
            what=f'"{key}" is not asked in {" or ".join(dict.fromkeys(meant))} and is answered in the design',
            where=where,
            why="the package asks it in " + ", ".join(known[key].sizes),
            mend="remove the answer, or take another size",
        )
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Rule:
    """A rule, and how it is spoken of: ``origin`` in reasons, ``where`` in faults, ``whose`` in sentences."""

    text: str
    origin: str
    where: str
    whose: str
    may_be_empty: bool = False


def _rules(
    design: Design, package: Package, profile: Profile | None, sizes: tuple[str, ...], faults: list[Fault]
) -> dict[str, _Rule]:
    """Property -> its rule: the design's where it has one, else the profile's."""
    found: dict[str, _Rule] = {}
    if profile is not None:
        origin = f"profile {profile.profile}"
        for key, text in profile.answers.items():
            found[key] = _Rule(
                text=text, origin=origin, where=f"{origin}: answers.{key}", whose="the profile"
            )
    known = {prop.key: prop for prop in package.properties}
    for i, row in enumerate(design.package.rules):
        where = f"package.rules[{i}]"
        fault = _refused(row.property, known, where, sizes)
        if fault is not None:
            faults.append(fault)
        found[row.property] = _Rule(
            text=row.rule,
            origin=f"design.yaml: {where}",
            where=where,
            whose="the design's rule",
            may_be_empty=True,
        )
    return found


def _row(
    prop: Property,
    size: str,
    explicit: Mapping[str, tuple[Answer, str]],
    rules: Mapping[str, "_Rule"],
    first_password: str,
    values: Mapping[str, str],
    faults: list[Fault],
) -> AnswerRow:
    if prop.password:
        name = FIRST_PASSWORD if prop.key == first_password else property_secret_name(prop.key)
        return _answered(prop, None, "drawn at random, kept in the strongbox", secret=name)
    if prop.key in explicit:
        answer, where = explicit[prop.key]
        return _checked(prop, answer.value, f"design.yaml: {where}", where, faults)
    reason = "nothing in design or profile answers it"
    if (found := rules.get(prop.key)) is not None:
        rule = found.text
        value = _filled(found, values, faults)
        if value or (not rule and found.may_be_empty):
            why = f"{found.origin}: {rule}{_of_several(rule, values)}"
            return _checked(prop, value, why, found.origin, faults)
        reason = (
            f"{found.whose} answers it with {rule}, for which the design says nothing{_places(rule, values)}"
        )
    default = prop.default_for(size)
    meaning = likely_meaning(prop, values)
    if meaning is not None and (doubt := _doubt(meaning, default, prop)):
        return _open(prop, f"{reason}; {meaning.text()}{doubt}")
    if default:
        return _answered(prop, default, f"the package's default for size {size or '(the only one)'}")
    if check_answer(prop, "") is None:
        return _answered(prop, "", "left empty, as the package allows")
    return _open(prop, reason)


def _doubt(meaning: Meaning, default: str, prop: Property) -> str:
    """Why neither the package's default nor an empty answer is taken without being asked; "" where one is."""
    if not default:
        # Where the design has nothing of the kind, an empty answer takes nothing away.
        return (
            ""
            if not meaning.values and check_answer(prop, "") is None
            else ' (for an empty one, answer it with "")'
        )
    if meaning.is_own:
        return f'; the package\'s default "{default}" would be the same for every member'
    if meaning.values and default not in meaning.values:
        return f'; the package\'s default is "{default}"'
    return ""


def _checked(prop: Property, value: str, reason: str, where: str, faults: list[Fault]) -> AnswerRow:
    fault = check_answer(prop, value)
    if fault is not None:
        faults.append(Fault(what=fault.what, where=f"{where} ({prop.key})", why=fault.why, mend=fault.mend))
    return _answered(prop, value, reason)


def _filled(found: "_Rule", values: Mapping[str, str], faults: list[Fault]) -> str:
    rule = found.text
    unknown = [name for name in _HOLE.findall(rule) if name not in values]
    for name in unknown:
        faults.append(
            Fault(
                what=f'{found.whose} names "${{{name}}}", which no design gives',
                where=found.where,
                why="known are: " + ", ".join(sorted(values)),
                mend=did_you_mean(f"${{{name}}}", [f"${{{one}}}" for one in values])
                or f"correct {found.whose}",
            )
        )
    parts = [values.get(name, "") for name in _HOLE.findall(rule)]
    # A rule with a hole that is empty answers nothing, whatever else stands around it.
    return "" if unknown or not all(parts) else _HOLE.sub(lambda match: values[match[1]], rule)


def _of_several(rule: str, values: Mapping[str, str]) -> str:
    """What is said where a rule's address is one of several that the member has on that network of the package."""
    for kind, _, network in (name.partition(".") for name in _HOLE.findall(rule)):
        several = values.get(f"addresses.{network}", "").split(",")
        if kind in ("address", "prefix", "netmask", "gateway") and len(several) > 1:
            return f" (the first of {', '.join(several)})"
    return ""


def _places(rule: str, values: Mapping[str, str]) -> str:
    """Where the design would say it, for the empty holes of a rule of which that is known."""
    empty = [name for name in _HOLE.findall(rule) if not values.get(name)]
    places = dict.fromkeys(_SAID_AT[name] for name in empty if name in _SAID_AT)
    return f" in {' and '.join(places)}" if places else ""


def _answered(prop: Property, value: str | None, reason: str, *, secret: str = "") -> AnswerRow:
    return AnswerRow(
        key=prop.key,
        label=prop.label,
        category=prop.category,
        value=value,
        secret=secret,
        reason=reason,
        is_open=False,
    )


def _open(prop: Property, reason: str) -> AnswerRow:
    return AnswerRow(
        key=prop.key,
        label=prop.label,
        category=prop.category,
        value=None,
        secret="",
        reason=reason,
        is_open=True,
    )
