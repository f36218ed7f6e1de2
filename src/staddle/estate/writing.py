"""An Estate, or some of its tables, to a folder that reads back as the same. Format: docs/estate-tables.md."""

import csv
import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import yaml

from staddle.estate.columns import DOMAINS, GUESTS, HOSTS, LINKS, NETWORKS, POOLS, Column, Table
from staddle.estate.model import Estate
from staddle.estate.rows import KeptAside
from staddle.estate.survey import SURVEY_FILE, Survey
from staddle.kernel import Fault, InputRefused, OutsideFailed
from staddle.kernel.wholefile import replace_file

__all__ = ["write_estate", "write_tables"]


def write_estate(estate: Estate, folder: Path, *, aside: Sequence[KeptAside] = ()) -> None:
    """Write the six files, and the links' where there are any; each appears whole or not at all.

    Args: aside: columns that reading kept aside; written back where the number of rows is still the same.
    Raises: InputRefused: a value has no cell that reads back as itself (a name with ";"); nothing is written.
    """
    parts: tuple[tuple[Table, Sequence[object]], ...] = (
        (DOMAINS, estate.domains),
        (HOSTS, estate.hosts),
        (POOLS, estate.pools),
        (NETWORKS, estate.networks),
        (GUESTS, estate.guests),
        *(((LINKS, estate.links),) if estate.links or (folder / LINKS.file).exists() else ()),
    )
    head = Survey(name=estate.name, surveyed=estate.surveyed, surveyed_by=estate.surveyed_by)
    write_tables(parts, head, folder, aside=aside)


def write_tables(
    parts: Sequence[tuple[Table, Sequence[object]]],
    head: Survey,
    folder: Path,
    *,
    aside: Sequence[KeptAside] = (),
) -> None:
    """Write these tables and the head of the survey; the folder's other tables stay as they are.

    Args: parts: tables with the values of their rows; aside: as of write_estate.
    Raises: InputRefused: as write_estate; nothing is written. OutsideFailed: the file system refuses.
    """
    faults: list[Fault] = []
    texts = {SURVEY_FILE: _survey_text(head)}
    for table, values in parts:
        kept = [c for c in aside if c.file == table.file and len(c.cells) == len(values)]
        texts[table.file] = _table_text(table, values, kept, faults)
    if faults:
        raise InputRefused(*faults)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in texts.items():
            replace_file(folder / name, text.encode())
    except OSError as exc:
        raise OutsideFailed.one(
            f"the tables could not be written: {exc.strerror}",
            where=str(folder),
            why="each file is as it was, or new and whole",
            mend="make room or mend the rights, then run it again",
        ) from exc


def _survey_text(survey: Survey) -> str:
    head = {
        "name": survey.name,
        "surveyed": survey.surveyed.isoformat(),
        "surveyed_by": survey.surveyed_by,
    }
    if survey.age_limit_days is not None:
        head["age_limit"] = f"{survey.age_limit_days} d"
    return yaml.safe_dump(head, sort_keys=False, allow_unicode=True)


def _table_text(table: Table, values: Sequence[object], kept: list[KeptAside], faults: list[Fault]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([c.heading for c in table.columns] + [c.heading for c in kept])
    memory: dict[tuple[str, Any], str] = {}
    for number, value in enumerate(values):
        cells = []
        for column in table.columns:
            content = getattr(value, column.field)
            key = (column.heading, content)
            if key not in memory:
                memory[key] = _cell(table, column, content, faults)
            cells.append(memory[key])
        writer.writerow(cells + [c.cells[number] for c in kept])
    return text.getvalue()


def _cell(table: Table, column: Column, content: object, faults: list[Fault]) -> str:
    """The cell, having made sure that the reader will see the same value in it."""
    cell = column.write(content)
    try:
        back = column.read(cell) if cell else column.blank
        problem = "" if cell == cell.strip() and back == content else "it would read back as another value"
    except InputRefused as exc:
        problem = exc.faults[0].what
    if problem:
        faults.append(
            Fault(
                what=f"{table.noun}s, {column.heading}: {content!r} cannot be written as a cell",
                where=table.file,
                why=problem,
                mend="change the value",
            )
        )
    return cell
