"""rates.yaml beside design.yaml: rates that people know better than common practice, each with its origin. Text in, text out.

A list of rows. A blank value, or no row, keeps common practice. Not here: what a rate does (parts.py), which domains the
estate has (whoever reads it says so).
"""

import contextlib
import re
from collections.abc import Collection, Iterator
from typing import Final

from pydantic import Field, TypeAdapter, ValidationError

from staddle.design.markedyaml import compose
from staddle.design.model import Row
from staddle.design.modelfaults import faults_of
from staddle.design.places import LocatedFault, Places, raise_sorted
from staddle.kernel import Fault, InputRefused, StaddleError, parse_duration
from staddle.kernel.likeness import did_you_mean
from staddle.survival.counted import count_interval
from staddle.survival.rates import (
    ANY_DOMAIN,
    COMMON_PRACTICE,
    KINDS,
    Origin,
    Quantity,
    Rate,
    Rates,
    Unit,
    rate_text,
    starting_rates,
)

__all__ = ["FORMS", "RateRow", "rates_starter", "read_rates"]


class RateRow(Row):
    """One row of rates.yaml."""

    what: str = Field(description="the quantity, by its name")
    of: str = Field(
        default="", description="a kind of domain, one domain as KIND NAME, machine or service; or blank"
    )
    value: str | None = Field(
        default=None, description="one value or two with to between them, with the unit"
    )
    origin: str | None = Field(default=None, description="measured, maker or common practice")
    source: str | None = Field(default=None, description="where it can be looked up")
    note: str = Field(default="", description="anything else")


_ROWS: Final = tuple[RateRow, ...]
_NUMBER: Final = r"\d+(?:\.\d+)?"
_A_YEAR: Final = re.compile(rf"(?P<low>{_NUMBER})(?: +to +(?P<high>{_NUMBER}))? +a +year")
_COUNTED: Final = re.compile(rf"(?P<count>\d{{1,4}}) +in +(?P<years>{_NUMBER}) +years?")
_SHARE: Final = re.compile(rf"(?P<low>{_NUMBER}) *%?(?: +to +(?P<high>{_NUMBER}))? *%")
_KIND: Final = re.compile(r"[a-z][a-z0-9-]*")
_OWN: Final = ("machine", "service")

FORMS: Final = {
    Unit.A_YEAR: 'write for example "0.02 a year", "0.01 to 0.04 a year", or what was counted: "3 in 240 years"',
    Unit.HOURS: 'write for example "4 h", or "4 h to 24 h"',
    Unit.SHARE: 'write for example "5 %", or "1 % to 10 %"',
}


def read_rates(text: str, *, where: str, domains: Collection[tuple[str, str]] = ()) -> Rates:
    """Common practice, with the rows of the file in its place; an empty file changes nothing.

    Args: domains: (kind, name) of every domain, host and pool of the estate; () refuses none.
    Raises: InputRefused: every fault of the file, in the order of the file, with line and column.
    """
    marked = compose(text, where=where)
    faults: list[LocatedFault] = list(marked.faults)
    if marked.value is not None or marked.faults:
        try:
            TypeAdapter(_ROWS).validate_python(marked.value)
        except ValidationError as exc:
            faults += faults_of(exc, _ROWS, marked.places)
    found: list[Rate] = []
    seen: dict[tuple[str, str], int] = {}
    for number, row in _sound_rows(marked.value):
        told = list(_row_faults(row, number, marked.places, domains))
        if (row.what, row.of) in seen:
            first = marked.places.find((seen[row.what, row.of], "what"))
            told.append(
                marked.places.fault_at(
                    (number, "what"),
                    Fault(
                        what=f"{row.what} of {row.of or 'the cluster'} stands twice",
                        why=f"it stands first at {first}",
                        mend="keep one row",
                    ),
                )
            )
        seen.setdefault((row.what, row.of), number)
        if row.value is not None and row.what in list(Quantity):
            try:
                found.append(_rate(row, marked.places.find((number, "value"))))
            except StaddleError as exc:
                told += [marked.places.fault_at((number, "value"), fault) for fault in exc.faults]
        faults += told
    raise_sorted(faults)
    return starting_rates().with_rows(found)


def rates_starter() -> str:
    """A rates.yaml with every quantity, no value, and common practice beside it."""
    lines = [
        "# How often things fail, how long that lasts, and what share of failures is common to all of a kind. A blank value",
        "# keeps what is beside it: common practice, no source. Better are your own records; write them with their origin:",
        '#   value: "3 in 240 years" (three failures of 60 hosts in four years), a single value, or a range "4 h to 24 h"',
        "#   origin: measured, maker or common practice; source: where it can be looked up",
        '# A row may also be about one domain, as "rack OM-R1"; it then wins over its kind.',
    ]
    for row in COMMON_PRACTICE:
        lines += [
            "",
            f"- what: {row.quantity}",
            *([f"  of: {row.about}"] if row.about else []),
            f"  value:  # {rate_text(row)}",
            "  origin:",
            "  source:",
        ]
    return "\n".join(lines) + "\n"


def _sound_rows(data: object) -> Iterator[tuple[int, RateRow]]:
    """The rows whose fields are right by their types; the others are told of already, each at its place."""
    for number, raw in enumerate(data if isinstance(data, tuple) else ()):
        with contextlib.suppress(ValidationError):
            yield number, RateRow.model_validate(raw)


def _row_faults(
    row: RateRow, number: int, places: Places, domains: Collection[tuple[str, str]]
) -> Iterator[LocatedFault]:
    def fault(field: str, what: str, mend: str, why: str = "") -> LocatedFault:
        return places.fault_at((number, field), Fault(what=what, why=why, mend=mend))

    quantities = [str(one) for one in Quantity]
    if row.what not in quantities:
        mend = did_you_mean(row.what, quantities) or "write one of " + ", ".join(quantities)
        yield fault("what", f'there is no quantity "{row.what}"', mend)
    else:
        wrong = _about_wrong(Quantity(row.what), row.of, domains)
        if wrong is not None:
            yield fault("of", wrong.what, wrong.mend, wrong.why)
    if row.value is None:
        return
    origins = [str(one) for one in Origin]
    if row.origin not in origins:
        what = f'"{row.origin}" is no origin' if row.origin else "the value has no origin"
        yield fault(
            "origin", what, "write one of " + ", ".join(origins), "what is not measured must not look like it"
        )
    elif row.origin != Origin.COMMON_PRACTICE and not (row.source or "").strip():
        yield fault(
            "source",
            f"the value is called {row.origin} and has no source",
            "write where it can be looked up: a list of tickets and its span, a paper and its page",
        )


def _about_wrong(quantity: Quantity, about: str, domains: Collection[tuple[str, str]]) -> Fault | None:
    """What is wrong with whom a quantity is said to be about."""
    kind, _, name = about.partition(" ")
    if quantity in (Quantity.DETECTION, Quantity.TAKE_OVER):
        return Fault(what=f"{quantity} is the cluster's", mend="remove of") if about else None
    if not about:
        return Fault(
            what=f"{quantity} of what?", mend='write of: and a kind of domain, or "machine" or "service"'
        )
    if quantity is Quantity.RESTART:
        if about not in _OWN:
            return Fault(
                what=f'nothing is known as the restart of "{about}"', mend="write machine or service"
            )
        return None
    if about in _OWN:
        if quantity in (Quantity.FAILURES, Quantity.COMMON_CAUSE):
            return None
        return Fault(what=f"{quantity} is not about a {about}", mend="write a row of restart for it")
    if quantity is Quantity.PLANNED and kind != "host":
        return Fault(what="planned restarts are those of hosts", mend='write host, or "host NAME"')
    if about == ANY_DOMAIN:
        return None
    if not _KIND.fullmatch(kind):
        return Fault(
            what=f'"{about}" is no kind of domain', mend="write for example host, rack, or rack NAME"
        )
    known = sorted({k for k, _ in domains})
    if domains and not name and kind not in (*known, *KINDS):
        return Fault(
            what=f'the estate has no domain of the kind "{kind}"', mend="its kinds are " + ", ".join(known)
        )
    if domains and name and (kind, name) not in domains:
        return Fault(
            what=f'the estate has no {kind} "{name}"',
            mend=did_you_mean(about, sorted(f"{k} {n}" for k, n in domains)) or "look it up",
        )
    return None


def _rate(row: RateRow, place: str) -> Rate:
    quantity, written = Quantity(row.what), (row.value or "").strip()
    low, high, point = _ends(quantity.unit, written)
    # What is wrong with the origin itself is told already.
    origin = Origin(row.origin) if row.origin in list(Origin) else Origin.MEASURED
    if point is not None and low != high and origin is not Origin.MEASURED:
        raise InputRefused.one(
            f'"{written}" is a count, and its origin is {origin}', mend="write origin: measured, or a range"
        )
    return Rate(
        quantity=quantity,
        about=row.of,
        low=low,
        high=high,
        origin=origin,
        point=point,
        source=(row.source or "").strip(),
        written=written,
        place=place,
    )


def _ends(unit: Unit, written: str) -> tuple[float, float, float | None]:
    """Low, high, and the single value where there is one."""
    if unit is Unit.HOURS:
        first, _, second = (part.strip() for part in written.partition(" to "))
        ends = [parse_duration(text).total_seconds() / 3600 for text in (first, second) if text]
        return _one_or_two(ends)
    if unit is Unit.A_YEAR and (counted := _COUNTED.fullmatch(written)) is not None:
        count, years = int(counted["count"]), float(counted["years"])
        if not years:
            raise InputRefused.one(
                f'"{written}" was counted over no time', mend="write the years that were watched"
            )
        return (*count_interval(count, years), count / years)
    found = (_A_YEAR if unit is Unit.A_YEAR else _SHARE).fullmatch(written)
    if found is None:
        raise InputRefused.one(
            f'"{written}" is no {"number of failures a year" if unit is Unit.A_YEAR else "share"}',
            mend=FORMS[unit],
        )
    size = 100 if unit is Unit.SHARE else 1
    return _one_or_two([float(text) / size for text in (found["low"], found["high"]) if text is not None])


def _one_or_two(ends: list[float]) -> tuple[float, float, float | None]:
    return (ends[0], ends[-1], ends[0] if len(ends) == 1 else None)
