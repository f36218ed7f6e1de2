"""One cell of an export to the text of our cell, or why it cannot be told what it means. Nothing is guessed in here.

What the text must hold for the column is said by its own reader (columns.py), which is asked last.
"""

import ipaddress
import re
from dataclasses import replace
from fractions import Fraction
from typing import Final

from staddle.estate import cells
from staddle.estate.cellkinds import CellKind, kind_of, rounds_up
from staddle.estate.columns import NO_DEFAULT, Column, Table
from staddle.estate.export import ExportCell
from staddle.estate.headingunit import AS_WRITTEN, heading_unit, is_binary, is_loose, unit_factor
from staddle.estate.sources import ColumnSource
from staddle.kernel import InputRefused

__all__ = ["NOTHING_WORDS", "share_of_memory", "taken_cell"]

NOTHING_WORDS: Final = ("-", "–", "—", "n/a", "na", "none", "null", "nil", "unknown", "?", "tbd", "untagged")
_AMOUNT: Final = re.compile(r"(?P<number>[\d.,\s]*\d)\s*(?P<unit>[A-Za-z%]*)")
_SHARE: Final = re.compile(r"(\d{1,2}(?:\.\d{1,4})?)\s*%")
_COUNTED: Final = ("", "core", "cores", "cpu", "cpus", "vcpu", "vcpus", "node", "nodes", "bytes")
_RATIO: Final = re.compile(r"([\d.,]+)\s*[:/]\s*1|1\s*:\s*([\d.,]+)")
_GROUPS: Final = {mark: re.compile(rf"\d{{1,3}}(?:{re.escape(mark)}\d{{3}})+") for mark in (",", ".", " ")}


def taken_cell(table: Table, source: ColumnSource, column: Column, found: tuple[ExportCell, ...]) -> str:
    """Our cell's text from the cells that the map names for it, in its order.

    Raises: InputRefused: one fault: the cell is doubtful, missing, contradicts its heading, or is out of range.
    """
    for cell in found:
        if cell.doubt:
            raise InputRefused.one(f"the cell {cell.doubt}", mend="write the value itself into the cell")
    texts = ["" if cell.text.casefold() in source.blank else cell.text for cell in found]
    texts = [text for text in texts if text]
    if not texts:
        if column.blank is NO_DEFAULT:
            raise InputRefused.one(
                "the cell is blank", why="every row needs it", mend="fill it in, or give the column one value"
            )
        return ""
    own = _own_text(table, source, column, texts)
    if own.casefold() in NOTHING_WORDS and kind_of(column) is not CellKind.TEXT:
        raise InputRefused.one(
            f'"{own}" may mean that there is none, or that nobody knows',
            mend=f'fill it in; where it means none, write blank: ["{own}"] for this column'
            if column.blank is not NO_DEFAULT
            else "fill it in",
        )
    try:
        return column.write(column.read(own))
    except (
        InputRefused
    ) as exc:  # out of range: told as the export writes it, not in the bytes that it came to
        fault, shown = exc.faults[0], " ".join(texts)
        if kind_of(column) in (CellKind.MEMORY, CellKind.DISK):
            shown += f" {source.unit}" if shown[-1].isdigit() else ""
            fault = replace(fault, what=fault.what.replace(f'"{own}"', f'"{shown}"'))
        raise InputRefused(fault) from exc


def share_of_memory(table: Table, column: Column, text: str) -> Fraction | None:
    """What a host keeps for itself where it is written as a share of its memory, above 0 and below 1; None where not.

    Example: share_of_memory(HOSTS, reserved_memory, "10 %") == Fraction(1, 10)
    """
    match = _SHARE.fullmatch(text) if (table.noun, column.heading) == ("host", "reserved_memory") else None
    return Fraction(match[1]) / 100 if match is not None and Fraction(match[1]) else None


def _own_text(table: Table, source: ColumnSource, column: Column, texts: list[str]) -> str:
    kind = kind_of(column)
    text = " ".join(texts)
    if text.casefold() in NOTHING_WORDS:
        return text
    if kind in (CellKind.NAMES, CellKind.ADDRESSES, CellKind.RANGES):
        return _list(source, kind, texts)
    if kind in (CellKind.MEMORY, CellKind.DISK):
        return _amount(source, kind, text, up=rounds_up(table, column))
    if kind is CellKind.COUNT:
        return _count(source, text)
    if kind is CellKind.PERCENT:
        return _percent(source, text)
    if kind is CellKind.RATIO:
        return _ratio(source, text)
    if kind is CellKind.PREFIX:
        return _prefix("/".join(texts))
    return text


def _number(text: str, decimal: str) -> Fraction:
    """The number as written, its marks read as the map settles them. Blanks group thousands without doubt."""
    bare = " ".join(text.split())
    if _GROUPS[" "].fullmatch(bare.split(decimal or ".")[0]):
        bare = bare.replace(" ", "")
    if decimal == "" and ("," in bare):
        raise InputRefused.one(
            f'"{text}" may have a comma for thousands or for the decimal mark',
            mend='settle decimal: "," or decimal: "." for this column',
        )
    mark = decimal or "."
    whole, _, rest = bare.partition(mark)
    other = "," if mark == "." else "."
    if _GROUPS[other].fullmatch(whole):
        whole = whole.replace(other, "")
    if not (whole.isascii() and whole.isdigit()) or (rest and not (rest.isascii() and rest.isdigit())):
        raise InputRefused.one(
            f'"{text}" is not a number with "{mark}" as its decimal mark',
            mend="mend the cell, or the decimal mark of this column",
        )
    return Fraction(int(whole)) + (Fraction(int(rest), 10 ** len(rest)) if rest else 0)


def _split(text: str, noun: str, example: str) -> tuple[str, str]:
    match = _AMOUNT.fullmatch(text)
    if match is None:
        raise InputRefused.one(f'"{text}" is not {noun}', mend=f'write for example "{example}"')
    return match["number"], match["unit"]


def _amount(source: ColumnSource, kind: CellKind, text: str, *, up: bool) -> str:
    number, written = _split(text, "a number with its unit", "384 GiB")
    named = next((unit for heading in source.headings if (unit := heading_unit(heading))), "")
    settled = source.unit
    if written and unit_factor(written) is None:
        raise InputRefused.one(
            f'"{written}" in "{text}" is not a unit of bytes', mend='write for example "384 GiB"'
        )
    if not written and settled in ("", AS_WRITTEN):
        raise InputRefused.one(
            f'"{text}" has no unit, and its heading names none',
            why="MiB and MB differ by 5 %, so the unit is never guessed",
            mend="settle the unit of this column, or write the unit into the cell",
        )
    unit = written or settled
    if written and settled == "" and is_loose(written) and kind is CellKind.MEMORY:
        raise InputRefused.one(
            f'"{text}" may mean powers of 1000 or of 1024',
            why="for memory both are common, and they differ by 5 % and more",
            mend="settle the unit of this column, for example GiB or GB",
        )
    if written and settled not in ("", AS_WRITTEN, "B"):
        if is_loose(written) and is_binary(settled):
            unit = f"{written[0].upper()}iB"
        elif is_binary(written) and not is_binary(settled):
            whence = "heading" if named == settled else "map"
            raise InputRefused.one(
                f"the cell says {written}, the {whence} says {settled}",
                why="one of the two is wrong",
                mend=f"mend the cell, or settle unit: {AS_WRITTEN} where each cell's own unit counts",
            )
    exact = _number(number, source.decimal) * (unit_factor(unit) or 1)
    whole = -((-exact.numerator) // exact.denominator) if up else exact.numerator // exact.denominator
    return f"{whole} B"


def _count(source: ColumnSource, text: str) -> str:
    match = _AMOUNT.fullmatch(text)
    if match is None or match["unit"].casefold() not in _COUNTED:
        return text
    number = _number(match["number"], source.decimal)
    if number.denominator != 1:
        raise InputRefused.one(f'"{text}" is not a whole number')
    return str(number)


def _percent(source: ColumnSource, text: str) -> str:
    number, written = _split(text, "a percentage", "15 %")
    if written not in ("", "%"):
        raise InputRefused.one(f'"{text}" is not a percentage', mend='write for example "15 %"')
    if not written and source.unit != "%":
        raise InputRefused.one(
            f'"{text}" may be a share or a percentage',
            mend='write "15 %", or settle unit: "%" for this column',
        )
    return f"{cells.decimal_text(float(_number(number, source.decimal)))} %"


def _ratio(source: ColumnSource, text: str) -> str:
    match = _RATIO.fullmatch(text)
    if match is not None:
        number = _number(match[1] or match[2], source.decimal)
    else:
        written, unit = _split(text, "a ratio", "4")
        if unit not in ("", "%", "x", "X"):
            raise InputRefused.one(f'"{text}" is not a ratio', mend='write for example "4"')
        number = _number(written, source.decimal) / (100 if unit == "%" else 1)
    return cells.decimal_text(float(number))


def _prefix(text: str) -> str:
    """A network; an address with its mask is one too (RFC 4632 §3.1 gives both forms)."""
    joined = re.sub(r"\s*/\s*|\s+", "/", text)
    if "/" not in joined:
        raise InputRefused.one(
            f'"{text}" does not say how long its prefix is',
            mend='write for example "192.0.2.0/25", or name the column of the masks as a second heading',
        )
    try:
        return str(ipaddress.ip_network(joined))
    except ValueError:
        return joined  # its column's reader tells what is wrong


def _list(source: ColumnSource, kind: CellKind, texts: list[str]) -> str:
    sign = {"newline": "\n", "blank": None}.get(source.separator, source.separator or cells.LIST_SEPARATOR)
    entries = [part.strip() for text in texts for part in text.split(sign)]
    # A sign at the end is no empty entry: many exports write one after each name.
    while entries and not entries[-1]:
        entries.pop()
    if kind is CellKind.RANGES:
        entries = [re.sub(r"\s*[-–]\s*", "-", entry) for entry in entries]
    if kind is CellKind.NAMES and (odd := next((e for e in entries if cells.LIST_SEPARATOR in e), None)):
        raise InputRefused.one(
            f'"{odd}" holds a "{cells.LIST_SEPARATOR}"',
            mend='settle separator: ";" if it separates the names',
        )
    return cells.joined(tuple(entries))
