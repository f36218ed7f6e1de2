"""estate --take: the table of domains, derived from the columns of hosts and pools where nobody wrote one.

What the cells prove is said in estate/deriving.py; this finds out whether that is wanted, and keeps a mark of it.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from staddle.estate.columns import DOMAINS, HOSTS, POOLS
from staddle.estate.deriving import Derived, derive_domains, is_derivable
from staddle.estate.difference import Change, ChangeKind, table_difference
from staddle.estate.export import Export
from staddle.estate.mapfile import MAP_FILE, mark_derived
from staddle.estate.model import Domain
from staddle.estate.rows import Row, TableRows
from staddle.estate.sources import TableMap
from staddle.jobs.folder import write_text

__all__ = ["Derivation", "DerivedTable", "derive_table", "is_by_hand", "keep_mark"]


@dataclass(frozen=True, slots=True, kw_only=True)
class DerivedTable:
    """The derived domains, from which tables, and what is different from those that are there."""

    tables: tuple[str, ...]
    domains: tuple[Domain, ...]
    changes: tuple[Change, ...]

    @property
    def loses(self) -> bool:
        """Whether a domain that is there would be gone or changed. New ones take nothing away."""
        return any(change.kind is not ChangeKind.ADDED for change in self.changes)


@dataclass(frozen=True, kw_only=True)
class Derivation:
    """The derived table with the rows' own domains, and as reading its file would give it."""

    table: DerivedTable
    values: Derived
    rows: TableRows


def is_by_hand(folder: Path, wanted: Collection[str], maps: Mapping[str, TableMap]) -> bool:
    """Whether the table of domains is a person's: it is taken now, or is there without the mark of a derived one."""
    if DOMAINS.noun in wanted:
        return True
    derived = "domains" in maps and bool(maps["domains"].derived)
    return (folder / DOMAINS.file).exists() and not derived


def derive_table(
    exports: Mapping[str, tuple[Export, TableMap, bool]], before: Mapping[str, TableRows]
) -> Derivation | None:
    """The domains that exports of hosts and pools name; None where these have no such columns.

    Args: exports: by noun; before: the tables that are there, by noun.
    """
    tables = [table for table in (HOSTS, POOLS) if table.noun in exports]
    parts = [(table, *exports[table.noun][:2]) for table in tables]
    named = [
        table
        for table, _, found in parts
        if is_derivable(next((one for one in found.sources if one.column == "domains"), None))
    ]
    if not named:
        return None
    old = [row.value for row in before[DOMAINS.noun].rows if row.value is not None]
    others = [
        row.value for table in (HOSTS, POOLS) if table.noun not in exports for row in before[table.noun].rows
    ]
    values = derive_domains(parts, keep=_still_named(old, (value for value in others if value is not None)))
    rows = TableRows(table=DOMAINS, path=before[DOMAINS.noun].path, rows=[], faults=[], findings=[])
    rows.rows = [Row(line, domain.name, domain) for line, domain in enumerate(values.domains, start=2)]
    rows.complete = True
    table = DerivedTable(
        tables=tuple(table.file.removesuffix(".csv") for table in named),
        domains=values.domains,
        changes=table_difference(DOMAINS, old, values.domains),
    )
    return Derivation(table=table, values=values, rows=rows)


def _still_named(domains: list[Domain], rows: Iterable[object]) -> list[Domain]:
    """Those that rows of other tables stand in, with all that they stand inside."""
    by_name = {domain.name: domain for domain in domains}
    named: dict[str, Domain] = {}
    for row in rows:
        for name in getattr(row, "domains", ()):
            at = by_name.get(name)
            while at is not None and at.name not in named:
                named[at.name] = at
                at = by_name.get(at.inside or "")
    return [domain for domain in domains if domain.name in named]


def keep_mark(folder: Path, derived: Derivation | None, *, by_hand: bool) -> None:
    """Mark in the folder's file that the table of domains is derived, so that it is made anew with the next exports."""
    file = folder / MAP_FILE
    if derived is None or by_hand or not file.exists():
        return
    write_text(file, mark_derived(folder, derived.table.tables))
