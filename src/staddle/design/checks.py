"""What must agree inside one design, beyond the type of each field. Pure: no estate, no package, no today.

Rows that are wrong on their own are passed over here (modelfaults.py tells about them), so that every other fault of
the file is still found in the same pass. Not here: whether the design is wise (review/).
"""

from collections.abc import Callable, Iterator
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError

from staddle.design.hostname import host_name_fault
from staddle.design.localtime import check_zone, instant_of, window_span
from staddle.design.model import Attachment, Clock, Member, Names, PackageChoice, Storage, Window
from staddle.design.places import Path
from staddle.design.sentences import parse_apart, parse_survive
from staddle.kernel import Fault, InputRefused

__all__ = ["faults_between"]

M = TypeVar("M", bound=BaseModel)
Told = tuple[Path, Fault]
_MOST_TTL_S: Final = 2**31 - 1  # RFC 2181 §8


def faults_between(data: object) -> Iterator[Told]:
    """Every fault between the fields of a design, with the path of the value that should change.

    Args: data: the plain values of the file, right or wrong.
    """
    if not isinstance(data, dict):
        return
    yield from _package(data)
    yield from _members(data)
    yield from _sentences(data)
    yield from _storage(data)
    yield from _names(data)
    yield from _networks(data)
    yield from _times(data)


def _rows(data: dict[str, object], key: str, kind: type[M]) -> Iterator[tuple[Path, M]]:
    """The rows of a list that are right on their own."""
    rows = data.get(key)
    for number, row in enumerate(rows if isinstance(rows, tuple) else ()):
        found = _alone(row, kind)
        if found is not None:
            yield (key, number), found


def _alone(row: object, kind: type[M]) -> M | None:
    try:
        return kind.model_validate(row)
    except ValidationError:
        return None  # already told, with its own place


def _texts(data: dict[str, object], key: str) -> Iterator[tuple[Path, str]]:
    rows = data.get(key)
    for number, row in enumerate(rows if isinstance(rows, tuple) else ()):
        if isinstance(row, str):
            yield (key, number), row


def _count(data: dict[str, object], key: str) -> int | None:
    rows = data.get(key)
    return len(rows) if isinstance(rows, tuple) else None


def _twice(rows: Iterator[tuple[Path, str]], what: str, mend: str) -> Iterator[Told]:
    seen: set[str] = set()
    for path, text in rows:
        if text in seen:
            yield path, Fault(what=f'{what} "{text}" stands twice', mend=mend)
        seen.add(text)


def _told_by(path: Path, check: Callable[[], object]) -> Iterator[Told]:
    try:
        check()
    except InputRefused as exc:
        yield from ((path, fault) for fault in exc.faults)


def _package(data: dict[str, object]) -> Iterator[Told]:
    package = _alone(data.get("package"), PackageChoice)
    if package is not None:
        yield from _twice_answered(("package",), tuple(answer.property for answer in package.answers))


def _twice_answered(path: Path, properties: tuple[str, ...]) -> Iterator[Told]:
    rows = (((*path, "answers", n, "property"), text) for n, text in enumerate(properties))
    yield from _twice(rows, "the answer to", "keep one of the two")


def _members(data: dict[str, object]) -> Iterator[Told]:
    members = list(_rows(data, "members", Member))
    yield from _twice(
        (((*path, "name"), member.name) for path, member in members),
        "the member",
        "give each member a name of its own",
    )
    for path, member in members:
        yield from _twice_answered(path, tuple(answer.property for answer in member.answers))
        if member.data and member.size:
            yield (
                (*path, "size"),
                Fault(
                    what=f'{member.name} holds data and has a size of its own, "{member.size}"',
                    why="members that hold data are all of one size",
                    mend="remove this line and set package.size, or write data: false",
                ),
            )
    for role in ("first", "second"):
        holders = [(path, member.name) for path, member in members if member.leads == role]
        for path, name in holders[1:]:
            yield (
                (*path, "leads"),
                Fault(
                    what=f"{name} leads {role}, and so does {holders[0][1]}",
                    why="one member leads, and at most one is its deputy",
                    mend="write leads: never for all but one",
                ),
            )
        if role == "first" and members and not holders and len(members) == _count(data, "members"):
            yield (
                ("members",),
                Fault(
                    what="no member leads first",
                    why="the first leader founds the cluster, so one must be named",
                    mend=f"add leads: first to one row, for example to {members[0][1].name}",
                ),
            )


def _sentences(data: dict[str, object]) -> Iterator[Told]:
    for path, text in _texts(data, "survive"):
        yield from _told_by(path, lambda text=text: parse_survive(text))  # type: ignore[misc]  # bound at once
    for path, text in _texts(data, "apart"):
        yield from _told_by(path, lambda text=text: parse_apart(text))  # type: ignore[misc]  # bound at once
    yield from _twice(_texts(data, "survive"), "the scenario", "remove one of the two")
    yield from _twice(_texts(data, "apart"), "the kind", "remove one of the two")


def _storage(data: dict[str, object]) -> Iterator[Told]:
    storage = _alone(data.get("storage", {}), Storage)
    if storage is not None:
        rows = ((("storage", "disks", n, "disk"), row.disk) for n, row in enumerate(storage.disks))
        yield from _twice(rows, "the disk", "keep one row a disk")


def _names(data: dict[str, object]) -> Iterator[Told]:
    names = _alone(data.get("names"), Names)
    if names is None:
        return
    fault = host_name_fault(names.zone)
    if fault:
        yield (
            ("names", "zone"),
            Fault(
                what=f'"{names.zone}" is not the name of a zone',
                why=fault,
                mend="write for example ousemoor.example",
            ),
        )
    if not 0 <= names.ttl_s <= _MOST_TTL_S:
        yield (
            ("names", "ttl"),
            Fault(
                what=f'names.ttl = "{names.ttl}" is too long',
                why="RFC 2181 §8 allows 2147483647 s",
                mend="300 s is usual",
            ),
        )
    for path, member in _rows(data, "members", Member):
        if member.name == names.cluster:
            yield (
                ("names", "cluster"),
                Fault(
                    what=f'names.cluster = "{names.cluster}" is also the name of {_said(path)}',
                    why="the cluster's name points to every member, a member's only to itself",
                    mend="take another name for the cluster",
                ),
            )
        elif not fault and host_name_fault(f"{member.name}.{names.zone}"):
            yield (
                (*path, "name"),
                Fault(
                    what=f"{member.name}.{names.zone} is too long for a host name",
                    why=host_name_fault(f"{member.name}.{names.zone}"),
                    mend="shorten the member's name",
                ),
            )
    for number, text in enumerate(names.servers):
        yield from _address_faults(("names", "servers", number), text, mend="write the server's address")


def _said(path: Path) -> str:
    return f"{path[0]}[{path[1]}]"


def _address(text: str) -> IPv4Address | IPv6Address | None:
    try:
        found = ip_address(text)
    except ValueError:
        return None
    return None if isinstance(found, IPv6Address) and found.scope_id else found


def _address_faults(path: Path, text: str, *, mend: str = "") -> Iterator[Told]:
    if _address(text) is None:
        example = "write for example 192.0.2.11 or 2001:db8::11"
        yield path, Fault(what=f'"{text}" is not an address', mend=mend or example)


def _networks(data: dict[str, object]) -> Iterator[Told]:
    attachments = list(_rows(data, "networks", Attachment))
    members = _count(data, "members")
    owners: dict[tuple[str, object], str] = {}
    attached: set[tuple[str, int]] = set()
    named: set[int] = set()
    for path, one in attachments:
        yield from _one_attachment(path, one, members)
        rows = [((*path, "addresses", n), text) for n, text in enumerate(one.addresses)]
        for at, text in rows or [((*path, "first"), one.first)]:
            found = _address(text)
            if found is None:
                continue
            owner = owners.setdefault((one.estate, found), _said(path))
            if owner != _said(path) or (one.addresses and (one.estate, text) in _before(one, at)):
                yield (
                    at,
                    Fault(
                        what=f"{text} is given twice on {one.estate}",
                        why=f"it is given in {owner} already",
                        mend="give each member an address of its own",
                    ),
                )
        version = _version(one)
        if version and (one.package, version) in attached:
            yield (
                (*path, "package"),
                Fault(
                    what=f'the package network "{one.package}" is attached twice for IPv{version}',
                    why="an adapter is connected to one network; a second row may add the other kind of address",
                    mend="keep one of the two rows",
                ),
            )
        attached.add((one.package, version))
        if one.named and version in named:
            yield (
                (*path, "named"),
                Fault(
                    what=f"a second attachment with IPv{version} addresses is named: true",
                    why="a member's DNS name points to one address of a kind",
                    mend="keep named: true on one of them",
                ),
            )
        if one.named and version:
            named.add(version)


def _before(one: Attachment, at: Path) -> set[tuple[str, str]]:
    number = at[-1]
    return {(one.estate, text) for text in one.addresses[:number]} if isinstance(number, int) else set()


def _version(one: Attachment) -> int:
    found = next((a for a in map(_address, (*one.addresses, one.first)) if a is not None), None)
    return found.version if found is not None else 0


def _one_attachment(path: Path, one: Attachment, members: int | None) -> Iterator[Told]:
    if one.addresses and one.first:
        yield (
            (*path, "first"),
            Fault(
                what=f'the attachment of "{one.package}" has both addresses and first',
                mend="keep addresses (one a member) or first (consecutive free ones), not both",
            ),
        )
    if not one.addresses and not one.first:
        yield (
            path,
            Fault(
                what=f'the attachment of "{one.package}" has no addresses',
                why="members have fixed addresses from a planned block",
                mend='add a line "first: …" with the first of consecutive free addresses, or addresses, one a member',
            ),
        )
    if one.addresses and members is not None and len(one.addresses) != members:
        yield (
            (*path, "addresses"),
            Fault(
                what=f'the attachment of "{one.package}" has {len(one.addresses)} addresses for {members} members',
                mend="give one address a member, in the order of members",
            ),
        )
    for number, text in enumerate(one.addresses):
        yield from _address_faults((*path, "addresses", number), text)
    if one.first:
        yield from _address_faults((*path, "first"), one.first)
    if len({found.version for found in map(_address, one.addresses) if found is not None}) > 1:
        yield (
            (*path, "addresses"),
            Fault(
                what=f'the attachment of "{one.package}" mixes IPv4 and IPv6 addresses',
                mend="write a second row for the other kind, with its own estate network",
            ),
        )


def _times(data: dict[str, object]) -> Iterator[Told]:
    clock = _alone(data.get("clock", {}), Clock)
    if clock is not None:
        yield from _told_by(("clock", "zone"), lambda: check_zone(clock.zone))
        for number, text in enumerate(clock.servers):
            why = "" if _address(text) is not None else host_name_fault(text)
            if why:
                yield (
                    ("clock", "servers", number),
                    Fault(
                        what=f'"{text}" is neither a host name nor an address',
                        why=why,
                        mend="write for example ntp-1.ousemoor.example",
                    ),
                )
    for path, window in _rows(data, "windows", Window):
        yield from _window(path, window)


def _window(path: Path, window: Window) -> Iterator[Told]:
    zone = list(_told_by((*path, "zone"), lambda: check_zone(window.zone)))
    ends = [
        told
        for key in ("opens", "closes")
        for told in _told_by((*path, key), lambda key=key: instant_of(getattr(window, key), window.zone))  # type: ignore[misc]  # bound at once
    ]
    yield from zone or ends or _told_by((*path, "closes"), lambda: window_span(window))
