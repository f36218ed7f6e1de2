"""estate --take: the map of one export's columns, from its proposal or the folder's file to what is kept.

What a proposal, a question and an answer mean is said in estate/; this reads and writes columns.yaml.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from staddle.estate.columns import TABLES, Table
from staddle.estate.export import Export
from staddle.estate.mapfile import MAP_FILE, add_map, change_map, mark_derived, read_maps, settle_map
from staddle.estate.openpoints import KEYS, OpenPoint, answered, open_points, with_source
from staddle.estate.sources import ColumnSource, TableMap, open_questions
from staddle.jobs.folder import write_text
from staddle.kernel import Fault, InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["Ask", "Given", "MapAtWork", "given_answers", "nobody"]

Ask = Callable[[OpenPoint, Callable[[str], ColumnSource]], ColumnSource | None]
"""Asks one open point; the second argument turns an answer into the column's source, or raises InputRefused. None leaves
the point open."""


def nobody(_: OpenPoint, __: Callable[[str], ColumnSource]) -> ColumnSource | None:
    """The answer where there is nobody to be asked."""
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """An answer that was given without being asked: "hosts.memory.unit=GiB" in its parts. ``key`` is "" if not named."""

    written: str
    table: str
    column: str
    key: str
    text: str


def given_answers(written: Sequence[str], tables: Collection[str]) -> tuple[Given, ...]:
    """The answers in their parts. Args: tables: names of the tables that are taken.

    Raises: InputRefused: one is not written so, or names a table that is not taken, or an unknown column; all at once.
    """
    faults: list[Fault] = []
    found = []
    for entry in written:
        name, sign, text = entry.partition("=")
        parts = [part.strip() for part in name.split(".")]
        table, column, key = (*parts, "", "")[:3]
        columns = next(([c.heading for c in t.columns] for t in TABLES if t.file == f"{table}.csv"), [])
        if not sign or len(parts) not in (2, 3):
            what, mend = (
                f'"{entry}" is not an answer',
                "write TABLE.COLUMN=ANSWER, such as hosts.vcpu_per_core=4",
            )
        elif table not in tables:
            what = f'"{entry}" answers for a table that is not taken: "{table}"'
            mend = did_you_mean(table, tables) or "taken are " + ", ".join(sorted(tables))
        elif column not in columns:
            what = f'"{column}" is no column of {table}'
            mend = did_you_mean(column, columns) or "the columns are " + ", ".join(columns)
        elif key and key not in KEYS[1:]:
            what, mend = f'"{key}" is nothing that a column has', "it may have " + ", ".join(KEYS[1:])
        else:
            found.append(Given(written=entry, table=table, column=column, key=key, text=text.strip()))
            continue
        faults.append(Fault(what=what, where="--answer", mend=mend))
    if faults:
        raise InputRefused(*faults)
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class MapAtWork:
    """One export with its map, before it is kept. ``is_new``: proposed just now; ``changed``: answers that were given."""

    table: Table
    export: Export
    columns: TableMap
    is_new: bool
    known: Mapping[str, Collection[str]]
    changed: tuple[ColumnSource, ...] = ()

    def given(self, answers: Sequence[Given]) -> "MapAtWork":
        """With the answers that were given for this table, in their order.

        Raises: InputRefused: every answer that its column cannot have.
        """
        faults: list[Fault] = []
        now = self
        for answer in (one for one in answers if one.table == self.columns.table):
            try:
                now = now._with(now._answered(answer.column, answer.key, answer.text))
            except InputRefused as exc:
                faults += [replace(fault, where=f"--answer {answer.written}") for fault in exc.faults]
        if faults:
            raise InputRefused(*faults)
        return now

    def keep(self, folder: Path, *, settle: bool, ask: Ask) -> TableMap:
        """Write the map to the folder's file, ask what is open, and settle it if that is wanted and nothing is open.

        Each answer is kept as soon as it is given, so that none is lost when the asking is broken off.
        """
        file = folder / MAP_FILE
        now = self
        if now.is_new:
            if now.columns.table == "domains" and file.exists():
                write_text(
                    file, mark_derived(folder, ())
                )  # derived until now, taken from an export from now on
            write_text(file, add_map(folder, now.columns))
        else:
            for source in now.changed:
                write_text(file, change_map(folder, now.columns.table, source))
        left: set[str] = set()
        while point := next((p for p in now._points() if p.name not in left), None):
            said = ask(point, now._answer_to(point))
            if said is None:
                left.add(point.name)
                continue
            now = now._with(said)
            write_text(file, change_map(folder, now.columns.table, said))
        if settle and not now.columns.settled and not open_questions(now.columns):
            kept = read_maps(folder)[now.columns.table]  # with the lines that it now stands in
            write_text(file, settle_map(folder, kept))
            now = replace(now, columns=replace(now.columns, settled=True))
        # As the file has it where it has it from before: faults then name its lines. A proposal keeps its reasons.
        return now.columns if now.is_new else read_maps(folder)[now.columns.table]

    def _points(self) -> tuple[OpenPoint, ...]:
        return open_points(self.table, self.export, self.columns, self.known)

    def _answer_to(self, point: OpenPoint) -> Callable[[str], ColumnSource]:
        return lambda text: self._answered(point.column, point.key, text)

    def _answered(self, column: str, key: str, text: str) -> ColumnSource:
        return answered(self.table, self.export, self.columns, self.known, column=column, key=key, text=text)

    def _with(self, source: ColumnSource) -> "MapAtWork":
        columns = with_source(self.table, self.columns, source)
        return replace(self, columns=columns, changed=(*self.changed, source))
