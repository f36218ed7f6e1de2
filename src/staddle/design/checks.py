"""What must agree inside one design, beyond the type of each field. Pure: no estate, no package, no today.

Rows that are wrong on their own are passed over here (modelfaults.py tells about them), so that every other fault of
the file is still found in the same pass. Not here: whether the design is wise (review/).
"""

from collections.abc import Callable, Iterator
from typing import Final, TypeVar

from pydantic import BaseModel, ValidationError

from staddle.design.attachmentchecks import address_faults, attachment_faults, find_address
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
    members = [member for _, member in _rows(data, "members", Member)]
    yield from attachment_faults(
        list(_rows(data, "networks", Attachment)),
        members if len(members) == _count(data, "members") else (),
        count=_count(data, "members"),
    )
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
        yield from address_faults(("names", "servers", number), text, mend="write the server's address")


def _said(path: Path) -> str:
    return f"{path[0]}[{path[1]}]"


def _times(data: dict[str, object]) -> Iterator[Told]:
    clock = _alone(data.get("clock", {}), Clock)
    if clock is not None:
        yield from _told_by(("clock", "zone"), lambda: check_zone(clock.zone))
        for number, text in enumerate(clock.servers):
            why = "" if find_address(text) is not None else host_name_fault(text)
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
