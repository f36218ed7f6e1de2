"""What is different between two surveys: rows added, rows gone, fields changed with their units. Pure.

Rows are the same if they have the same name; a renamed one is told as gone and added. Order does not count.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from staddle.estate.columns import DOMAINS, GUESTS, HOSTS, LINKS, NETWORKS, POOLS, Column, Table
from staddle.estate.model import Estate

__all__ = ["Change", "ChangeKind", "survey_difference", "table_difference"]


class ChangeKind(StrEnum):
    """What happened to a row between the surveys."""

    ADDED = "added"
    GONE = "gone"
    CHANGED = "changed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One row that is added or gone (no field), or one field of a row, as its cells were and are."""

    noun: str
    name: str
    kind: ChangeKind
    field: str = ""
    before: str = ""
    after: str = ""

    def cells(self) -> tuple[str, str, str, str, str]:
        """The change as a row of text: what, name, field, before, after."""
        return (f"{self.noun} {self.kind.value}", self.name, self.field, self.before, self.after)


def survey_difference(before: Estate, after: Estate) -> tuple[Change, ...]:
    """Every difference, table by table, by name within each; () where there is none.

    Example: survey_difference(estate, estate) == ()
    """
    parts: tuple[tuple[Table, Sequence[Any], Sequence[Any]], ...] = (
        (DOMAINS, before.domains, after.domains),
        (HOSTS, before.hosts, after.hosts),
        (POOLS, before.pools, after.pools),
        (NETWORKS, before.networks, after.networks),
        (GUESTS, before.guests, after.guests),
        (LINKS, before.links, after.links),
    )
    return tuple(change for part in parts for change in table_difference(*part))


def table_difference(table: Table, before: Iterable[Any], after: Iterable[Any]) -> tuple[Change, ...]:
    """The differences of one table. Args: before, after: values of the table's kind, each name once."""
    old, new = {row.name: row for row in before}, {row.name: row for row in after}
    changes = []
    for name in sorted(old.keys() | new.keys()):
        if name not in new:
            changes.append(Change(noun=table.noun, name=name, kind=ChangeKind.GONE))
        elif name not in old:
            changes.append(Change(noun=table.noun, name=name, kind=ChangeKind.ADDED))
        else:
            changes += [
                Change(
                    noun=table.noun,
                    name=name,
                    kind=ChangeKind.CHANGED,
                    field=column.heading,
                    before=column.write(_value(old[name], column)),
                    after=column.write(_value(new[name], column)),
                )
                for column in table.columns
                if _comparable(old[name], column) != _comparable(new[name], column)
            ]
    return tuple(changes)


def _value(row: object, column: Column) -> Any:  # noqa: ANN401  a column knows the type of its own field
    return getattr(row, column.field)


def _comparable(row: object, column: Column) -> object:
    """The field, lists without their order: a list in another order names the same networks."""
    value = _value(row, column)
    return frozenset(value) if isinstance(value, tuple) else value
