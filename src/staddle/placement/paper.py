"""placement.yaml: the settled placement as text for people and version control, and back. Text in, text out.

Not here: whether it is still valid (verify.py), where the file lies (jobs).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

import yaml

from staddle.kernel import Fault, InputRefused
from staddle.placement.model import Placement, Seat

__all__ = ["SettledPlacement", "placement_text", "read_placement"]

_HEADER: Final = """\
# The settled placement: on which host each member stands, and in which pool each of its disks lies.
# Written by `staddle place` when the engineer agreed to it. It is kept while it is valid: while its members are those
# of the design and every placement rule still holds. When one does not, `staddle place` proposes the least movement.
# To change it by hand is allowed; the rules are checked again before anything is carried out.
"""
_TOP: Final = ("settled_by", "settled_on", "problem_digest", "seats")
_SEAT: Final = ("member", "host", "disks", "why")
_DISK: Final = ("disk", "pool")


@dataclass(frozen=True, slots=True, kw_only=True)
class SettledPlacement:
    """What placement.yaml says. ``problem_digest`` is the digest of the question it answered."""

    seats: tuple[Seat, ...]
    reasons: tuple[tuple[str, str], ...]
    problem_digest: str
    settled_by: str
    settled_on: date


def placement_text(placement: Placement, *, problem_digest: str, settled_by: str, settled_on: date) -> str:
    """The whole file. Equal placements give equal text. Args: problem_digest: kernel.digest_of the Problem."""
    why = dict(placement.reasons)
    lines = [
        f"settled_by: {_quoted(settled_by)}",
        f"settled_on: {settled_on.isoformat()}",
        f"problem_digest: {_quoted(problem_digest)}",
        "seats:" if placement.seats else "seats: []",
    ]
    for seat in placement.seats:
        lines += [f"  - member: {_quoted(seat.member)}", f"    host: {_quoted(seat.host)}"]
        lines.append("    disks:" if seat.disks else "    disks: []")
        lines += [f"      - {{disk: {_quoted(disk)}, pool: {_quoted(pool)}}}" for disk, pool in seat.disks]
        if seat.member in why:
            lines.append(f"    why: {_quoted(why[seat.member])}")
    return _HEADER + "\n" + "\n".join(lines) + "\n"


def read_placement(text: str, where: str) -> SettledPlacement:
    """The file read strictly. Args: where: its name, for messages.

    Raises: InputRefused: not YAML, a field missing, unknown or doubled, not text; every fault with line and column.
    """
    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError as exc:
        mark = getattr(exc, "problem_mark", None)
        raise InputRefused.one(
            f"this is not YAML: {getattr(exc, 'problem', None) or exc}",
            where=where if mark is None else _place(where, mark),
            mend="mend the line, or have it written again with `staddle place`",
        ) from exc
    reader = _Reader(where)
    settled = reader.placement(root)
    if reader.faults or settled is None:
        raise InputRefused(*reader.faults)
    return settled


def _quoted(text: str) -> str:
    # Always in quotes: a host named "no" or "1e3" must stay a name.
    return str(yaml.safe_dump(text, default_style='"', allow_unicode=True, width=float("inf"))).strip()


def _place(where: str, mark: yaml.Mark) -> str:
    return f"{where}:{mark.line + 1}:{mark.column + 1}"


class _Reader:
    """One reading; collects faults and goes on."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.faults: list[Fault] = []

    def placement(self, root: yaml.Node | None) -> SettledPlacement | None:
        fields = self._fields(root, "the file", _TOP, needed=_TOP)
        settled_on = self._day(fields.get("settled_on"))
        by, digest = (self._text(fields.get(name), name) for name in ("settled_by", "problem_digest"))
        seats, reasons = self._seats(fields.get("seats"))
        if settled_on is None or self.faults:
            return None
        return SettledPlacement(
            seats=seats, reasons=reasons, problem_digest=digest, settled_by=by, settled_on=settled_on
        )

    def _seats(self, node: yaml.Node | None) -> tuple[tuple[Seat, ...], tuple[tuple[str, str], ...]]:
        seats, reasons, seen = [], [], set()
        for row in self._rows(node, "seats"):
            fields = self._fields(row, "a seat", _SEAT, needed=("member", "host", "disks"))
            member, host = self._text(fields.get("member"), "member"), self._text(fields.get("host"), "host")
            disks = tuple(self._disk(disk) for disk in self._rows(fields.get("disks"), "disks"))
            if member and member in seen:
                self._fault(f'member "{member}" has two seats', row, "keep one of them")
            seen.add(member)
            seats.append(Seat(member=member, host=host, disks=disks))
            if "why" in fields:
                reasons.append((member, self._text(fields["why"], "why")))
        return tuple(seats), tuple(reasons)

    def _disk(self, node: yaml.Node) -> tuple[str, str]:
        fields = self._fields(node, "a disk", _DISK, needed=_DISK)
        return self._text(fields.get("disk"), "disk"), self._text(fields.get("pool"), "pool")

    def _fault(self, what: str, node: yaml.Node | None, mend: str) -> None:
        place = self.where if node is None else _place(self.where, node.start_mark)
        self.faults.append(Fault(what=what, where=place, mend=mend))

    def _fields(
        self, node: yaml.Node | None, label: str, known: tuple[str, ...], *, needed: tuple[str, ...]
    ) -> dict[str, yaml.Node]:
        if not isinstance(node, yaml.MappingNode):
            self._fault(f"{label} has no fields", node, f"expected are {', '.join(needed)}")
            return {}
        fields: dict[str, yaml.Node] = {}
        for key, value in node.value:
            name = key.value if isinstance(key, yaml.ScalarNode) else "?"
            if name not in known:
                self._fault(f'{label} has a field "{name}"', key, f"its fields are {', '.join(known)}")
            elif name in fields:
                self._fault(f'{label} has the field "{name}" twice', key, "keep one of them")
            fields[name] = value
        for name in needed:
            if name not in fields:
                self._fault(f'{label} lacks the field "{name}"', node, "add it")
        return fields

    def _rows(self, node: yaml.Node | None, label: str) -> Iterator[yaml.Node]:
        if isinstance(node, yaml.SequenceNode):
            yield from node.value
        elif node is not None:
            self._fault(f"{label} is not a list", node, "begin each row with a dash")

    def _text(self, node: yaml.Node | None, label: str) -> str:
        if node is None:
            return ""
        if not isinstance(node, yaml.ScalarNode) or node.tag != "tag:yaml.org,2002:str":
            self._fault(f"{label} is not text", node, "put the value in quotes")
            return ""
        if not node.value.strip():
            self._fault(f"{label} is empty", node, "fill it in")
        return str(node.value)

    def _day(self, node: yaml.Node | None) -> date | None:
        if node is None:
            return None
        try:
            return date.fromisoformat(node.value if isinstance(node, yaml.ScalarNode) else "")
        except ValueError:
            self._fault("settled_on is not a day", node, "write it as year-month-day, for example 2026-11-20")
            return None
