"""The maker's limits: limits.yaml beside design.yaml, filled by the engineer from the maker's papers.

A list of rows; each value shows the paper and the day it is from. A blank value, or no row, is "unknown". Not here:
whether the job keeps to them, and what an unknown one weighs (review/rules/limits.py).
"""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from pydantic import Field, TypeAdapter, ValidationError

from staddle.design.limitquestions import LIMIT_QUESTIONS, LimitQuestion, find_limit_question
from staddle.design.markedyaml import compose
from staddle.design.model import Member, Row
from staddle.design.modelfaults import faults_of
from staddle.design.places import LocatedFault, Places, raise_sorted
from staddle.kernel import Fault, StaddleError
from staddle.kernel.likeness import did_you_mean

__all__ = ["KINDS", "NO_LIMIT", "Limit", "LimitRow", "Limits", "read_limits"]

NO_LIMIT: Final = "no limit"
"""The value where the maker says that there is none: known, unlike a blank."""

KINDS: Final = ("all", "data", "without data")
"""Kinds of member that a limit may be about; beside them "size NAME"."""


class LimitRow(Row):
    """One row of limits.yaml."""

    what: str = Field(description="the question, by its name")
    value: str | int | None = Field(
        default=None, description="the maker's answer with its unit; blank: unknown"
    )
    applies_to: str = Field(
        default="all", description="all, data, without data, or size NAME: which members it is about"
    )
    source: str = Field(default="", description="the maker's paper: title and page, or who wrote it")
    dated: date | None = Field(default=None, description="the day the paper is from")
    note: str = Field(default="", description="anything else")


_ROWS: Final = tuple[LimitRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One answer of the maker, at ``place`` (file:line:column).

    ``value`` is what its question's reader made of ``written``; None where the maker says that there is no limit.
    """

    what: str
    written: str
    value: Any
    applies_to: str = "all"
    source: str
    dated: date
    note: str = ""
    place: str

    def is_about(self, member: Member, size_id: str) -> bool:
        """Whether it is about this member, whose size is ``size_id``."""
        kind = "data" if member.data else "without data"
        return self.applies_to in ("all", kind, f"size {size_id}")

    def paper(self) -> str:
        """Where it stands, as people write it."""
        return f"{self.source}, {self.dated}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Everything that is known; ``blanks`` are the places of rows without a value, as (what, place)."""

    rows: tuple[Limit, ...]
    blanks: tuple[tuple[str, str], ...] = ()
    where: str = "limits.yaml"

    def of(self, what: str) -> tuple[Limit, ...]:
        """Every answer to a question that sets a limit, in the order of the file."""
        return tuple(row for row in self.rows if row.what == what and row.value is not None)

    def unknown(self) -> tuple[tuple[LimitQuestion, str], ...]:
        """The questions without any answer, in their order, each with the place of its blank row or the file's name."""
        known = {row.what for row in self.rows}
        blanks = dict(self.blanks)
        return tuple(
            (question, blanks.get(question.what, self.where))
            for question in LIMIT_QUESTIONS
            if question.what not in known
        )


def read_limits(text: str, *, where: str) -> Limits:
    """The limits from the text of limits.yaml; an empty file knows nothing.

    Raises: InputRefused: every fault of the file, in the order of the file.
    """
    marked = compose(text, where=where)
    faults: list[LocatedFault] = list(marked.faults)
    if marked.value is not None or marked.faults:
        try:
            TypeAdapter(_ROWS).validate_python(marked.value)
        except ValidationError as exc:
            faults += faults_of(exc, _ROWS, marked.places)
    rows = list(_sound_rows(marked.value))
    limits: dict[int, Limit] = {}
    for number, row in rows:
        limit, told = _limit(row, number, marked.places)
        faults += told
        if limit is not None:
            limits[number] = limit
    faults += _doubled(rows, marked.places)
    faults += _crossed(limits, marked.places)
    raise_sorted(faults)
    return Limits(
        rows=tuple(limits.values()),
        blanks=tuple((row.what, marked.places.find((number,))) for number, row in rows if row.value is None),
        where=where,
    )


def _sound_rows(data: object) -> Iterator[tuple[int, LimitRow]]:
    """The rows whose fields are right by their types; the others are told of already, each at its place."""
    for number, raw in enumerate(data if isinstance(data, tuple) else ()):
        with contextlib.suppress(ValidationError):
            yield number, LimitRow.model_validate(raw)


def _limit(row: LimitRow, number: int, places: Places) -> tuple[Limit | None, list[LocatedFault]]:
    """The limit of one row that is right by its types; None where it is blank or has faults."""
    faults: list[LocatedFault] = []

    def fault(field: str, what: str, mend: str, why: str = "") -> None:
        faults.append(places.fault_at((number, field), Fault(what=what, why=why, mend=mend)))

    question = find_limit_question(row.what)
    if question is None:
        names = [one.what for one in LIMIT_QUESTIONS]
        mend = did_you_mean(row.what, names) or "write one of " + ", ".join(names)
        fault("what", f'there is no question "{row.what}"', mend)
    elif not question.by_kind and row.applies_to != "all":
        fault("applies_to", f"{row.what} is the same for every member", "remove applies_to, or write all")
    if row.applies_to not in KINDS and not (
        row.applies_to.startswith("size ") and row.applies_to[5:].strip()
    ):
        mend = did_you_mean(row.applies_to, KINDS) or 'write all, data, without data, or "size NAME"'
        fault("applies_to", f'"{row.applies_to}" is no kind of member', mend)
    written = "" if row.value is None else str(row.value).strip()
    if row.value is None:
        return None, faults
    if not written:
        fault("value", "the value is an empty text", "leave it blank if it is unknown, or write it")
    for field, there in (("source", row.source.strip()), ("dated", row.dated)):
        if not there:
            fault(
                field,
                f"the value of {row.what} has no {'source' if field == 'source' else 'date of its paper'}",
                "write where it stands" if field == "source" else "write dated: and the day of the paper",
                why="a limit that cannot be looked up again cannot be trusted",
            )
    value: object = None
    if question is not None and written and written != NO_LIMIT:
        try:
            value = question.read(written)
        except StaddleError as exc:
            faults += [places.fault_at((number, "value"), one) for one in exc.faults]
    if faults or row.dated is None:
        return None, faults
    return Limit(
        what=row.what,
        written=written,
        value=value,
        applies_to=row.applies_to,
        source=row.source.strip(),
        dated=row.dated,
        note=row.note,
        place=places.find((number, "value")),
    ), []


def _doubled(rows: list[tuple[int, LimitRow]], places: Places) -> Iterator[LocatedFault]:
    """Rows that answer what an earlier row answers already."""
    seen: dict[tuple[str, ...], int] = {}
    for number, row in rows:
        question = find_limit_question(row.what)
        if question is None:
            continue
        key = (row.what, row.applies_to, str(row.value) if question.many else "")
        if key in seen:
            yield places.fault_at(
                (number, "what"),
                Fault(
                    what=f"{row.what} for {row.applies_to} stands twice",
                    why=f"it stands first at {places.find((seen[key], 'what'))}",
                    mend="keep one row",
                ),
            )
        seen.setdefault(key, number)


def _crossed(limits: dict[int, Limit], places: Places) -> Iterator[LocatedFault]:
    """A most that is below its least."""
    fewest = {one.applies_to: one for one in limits.values() if one.what == "members-fewest"}
    for number, most in limits.items():
        least = fewest.get(most.applies_to)
        if (
            most.what == "members-most"
            and least
            and None not in (most.value, least.value)
            and most.value < least.value
        ):
            yield places.fault_at(
                (number, "value"),
                Fault(
                    what=f"at most {most.value} members, but at least {least.value}",
                    why=f"members-fewest stands at {least.place}",
                    mend="look both up again",
                ),
            )
