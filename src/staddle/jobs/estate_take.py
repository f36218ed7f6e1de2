"""estate --take: exports of others to our tables, by a map of columns that is proposed, settled and kept.

What a proposal and a cell mean is said in estate/; this reads and writes the files.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import replace as replace_in
from datetime import date
from pathlib import Path

from staddle.estate.cellkinds import table_named
from staddle.estate.columnmap import propose_map
from staddle.estate.columns import DOMAINS, GUESTS, HOSTS, NETWORKS, POOLS, TABLES, Table
from staddle.estate.delimited import read_delimited
from staddle.estate.difference import Change, table_difference
from staddle.estate.export import Export
from staddle.estate.headingrow import find_headings
from staddle.estate.mapfile import read_maps
from staddle.estate.openpoints import OpenPoint, open_points
from staddle.estate.references import check_references
from staddle.estate.rows import TableRows, read_rows
from staddle.estate.sources import TableMap
from staddle.estate.survey import SURVEY_FILE, Survey, read_survey
from staddle.estate.taking import take_rows
from staddle.estate.workbook import is_workbook, read_workbook
from staddle.estate.writing import write_tables
from staddle.jobs.estate_domains import DerivedTable, derive_table, is_by_hand, keep_mark
from staddle.jobs.estate_map import Ask, MapAtWork, given_answers, nobody
from staddle.kernel import Fault, InputRefused, parse_days

__all__ = ["TakeReport", "TakenTable", "take_tables"]

_ORDER = (DOMAINS, NETWORKS, POOLS, HOSTS, GUESTS)  # each after those whose names its cells may hold


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenTable:
    """One export as it was understood. ``faults`` are of its cells; ``changes`` against the table that is there."""

    table: str
    file: str
    form: str
    heading_line: int
    rows: int
    columns: TableMap
    is_proposed: bool
    questions: tuple[OpenPoint, ...]
    aside: tuple[str, ...]
    faults: tuple[Fault, ...]
    replaces: bool
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeReport:
    """What came of it. ``derived`` are the domains if their table was made from the others; ``settled`` is whether every map is; ``written`` whether the tables were; ``missing`` tables are still."""

    folder: str
    tables: tuple[TakenTable, ...]
    derived: DerivedTable | None
    settled: bool
    written: bool
    missing: tuple[str, ...]


def take_tables(
    folder: Path,
    asked: Sequence[tuple[Path, str]],
    *,
    settle: bool,
    replace: bool,
    surveyed: date | None,
    surveyed_by: str,
    agree: Callable[[Sequence[TakenTable], Sequence[Change]], bool],
    answers: Sequence[str] = (),
    age_limit: str = "",
    ask: Ask = nobody,
) -> TakeReport:
    """Read exports as tables of the estate. Proposes a map where none is kept; writes the tables once all are settled.

    Args: asked: exports with the table each is taken as; settle: take the maps as settled where nothing is open;
        agree: asked before a table that is there is replaced, with the tables and the changes of derived domains; answers: to open points,
        each as "hosts.memory.unit=GiB"; ask: asked what is open then. Answers are kept in the map;
        age_limit: how old the survey may grow, such as "30 d", "" for as before.
    Raises: InputRefused: an export cannot be read; an answer that its column cannot have; or, with settled maps, every
        fault of every cell and between tables.
    """
    wanted = _wanted(asked)
    maps = read_maps(folder)
    found = {table.noun: read_rows(folder, table) for table in TABLES}
    before = dict(found)
    known = {noun: {row.name for row in rows.rows} for noun, rows in found.items() if rows.complete}
    by_hand = is_by_hand(folder, wanted, maps)
    if not by_hand:
        known.pop(DOMAINS.noun, None)  # derived ones are made anew from these exports, not looked up
    given = given_answers(answers, [name for _, name in asked])
    faults: list[Fault] = []
    works: dict[str, MapAtWork] = {}
    for table in (table for table in _ORDER if table.noun in wanted):
        path = wanted[table.noun]
        name = table.file.removesuffix(".csv")
        kept = maps.get(name) if name not in maps or not maps[name].derived else None
        grids = read_workbook(path) if is_workbook(path) else (read_delimited(path),)
        export = find_headings(table, grids, str(path), sheet=kept.sheet if kept else "")
        columns = kept or propose_map(table, export, known)
        work = MapAtWork(table=table, export=export, columns=columns, is_new=kept is None, known=dict(known))
        try:
            work = work.given(given)
        except InputRefused as exc:
            faults += exc.faults
        works[table.noun] = work
        known[table.noun] = {row.name for row in take_rows(table, export, work.columns).rows}
    if faults:
        raise InputRefused(*faults)
    exports: dict[str, tuple[Export, TableMap, bool]] = {}
    for noun, work in works.items():
        columns = work.keep(folder, settle=settle, ask=ask)
        exports[noun] = (work.export, columns, work.is_new)
        found[noun] = take_rows(work.table, work.export, columns)
    derived = None if by_hand else derive_table(exports, before)
    for noun in (HOSTS.noun, POOLS.noun):
        if derived is not None and noun in exports:
            found[noun] = take_rows(works[noun].table, *exports[noun][:2], derived=derived.values)
    if derived is not None:
        found[DOMAINS.noun] = derived.rows
    taken = [
        _taken(table, *exports[table.noun], found[table.noun], before[table.noun], known)
        for table in TABLES
        if table.noun in wanted
    ]
    settled = all(entry.columns.settled and not entry.questions for entry in taken)
    written = False
    if settled:
        head, faults = _head(folder, surveyed, surveyed_by, age_limit)
        for entry in taken:
            faults += entry.faults
            if entry.replaces and not replace:
                faults.append(_there(folder, entry.table))
        if derived is not None and derived.table.loses and not replace:
            faults.append(_there(folder, "domains"))
        faults += check_references(*(found[table.noun] for table in TABLES))
        if faults or head is None:
            raise InputRefused(*faults)
        replaces = any(entry.replaces for entry in taken) or (derived is not None and derived.table.loses)
        if not replaces or agree(taken, () if derived is None else derived.table.changes):
            parts: list[tuple[Table, Sequence[object]]] = [
                (table, [row.value for row in found[table.noun].rows])
                for table in TABLES
                if table.noun in wanted
            ]
            aside = [column for noun in wanted for column in found[noun].aside]
            if derived is not None:
                parts.append((DOMAINS, derived.values.domains))
            write_tables(parts, head, folder, aside=aside)
            keep_mark(folder, derived, by_hand=by_hand)
            written = True
    return TakeReport(
        folder=str(folder),
        tables=tuple(taken),
        derived=None if derived is None else derived.table,
        settled=settled,
        written=written,
        missing=tuple(table.file for table in TABLES if not (folder / table.file).exists()),
    )


def _wanted(asked: Sequence[tuple[Path, str]]) -> dict[str, Path]:
    faults, wanted = [], {}
    for path, name in asked:
        table = table_named(name)
        if table is None:
            names = ", ".join(t.file.removesuffix(".csv") for t in TABLES)
            faults.append(
                Fault(what=f'there is no table "{name}"', where="--as", mend=f"the tables are {names}")
            )
        elif table.noun in wanted:
            faults.append(
                Fault(what=f"two exports are to be taken as {name}", where="--as", mend="take one of them")
            )
        else:
            wanted[table.noun] = path
    if faults:
        raise InputRefused(*faults)
    return wanted


def _taken(
    table: Table,
    export: Export,
    columns: TableMap,
    is_new: bool,
    rows: TableRows,
    before: TableRows,
    known: Mapping[str, Collection[str]],
) -> TakenTable:
    replaces = before.path.exists()
    values = [row.value for row in rows.rows if row.value is not None]
    return TakenTable(
        table=columns.table,
        file=export.path,
        form=export.form,
        heading_line=export.heading_line,
        rows=len(rows.rows),
        columns=columns,
        is_proposed=is_new,
        questions=open_points(table, export, columns, known),
        aside=tuple(column.heading for column in rows.aside),
        faults=tuple(rows.faults),
        replaces=replaces,
        changes=table_difference(table, [r.value for r in before.rows if r.value is not None], values)
        if replaces
        else (),
    )


def _there(folder: Path, name: str) -> Fault:
    return Fault(
        what=f"the table of {name} is there already",
        where=str(folder / f"{name}.csv"),
        why="a survey is not overwritten by accident",
        mend="add --replace: the difference is shown before anything is written",
    )


def _head(
    folder: Path, surveyed: date | None, surveyed_by: str, age_limit: str
) -> tuple[Survey | None, list[Fault]]:
    """Who looked and when: as given, otherwise as the folder has it."""
    kept, faults = None, []
    if (folder / SURVEY_FILE).exists():
        try:
            kept = read_survey(folder)
        except InputRefused as exc:
            return None, list(exc.faults)
    by = surveyed_by or (kept.surveyed_by if kept else "")
    day = surveyed or (kept.surveyed if kept else None)
    if not by:
        faults.append(Fault(what="nobody is named who surveyed", where="--surveyed-by", mend="name them"))
    if day is None:
        faults.append(
            Fault(
                what="the day of the survey is not given",
                where="--survey-date",
                why="tables grow old, and the age is told on every output",
                mend="give the day of the export, such as --survey-date 2026-11-02",
            )
        )
        return None, faults
    limit_days = kept.age_limit_days if kept else None
    if age_limit:
        try:
            limit_days = parse_days(age_limit)
        except InputRefused as exc:
            faults += [replace_in(fault, where="--survey-limit") for fault in exc.faults]
    name = kept.name if kept else folder.resolve().name
    head = Survey(name=name, surveyed=day, surveyed_by=by, age_limit_days=limit_days)
    return (None if faults else head), faults
