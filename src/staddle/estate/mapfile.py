"""columns.yaml of an estate's folder: the maps of its exports, kept for next time. Written once, then the engineer's."""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import yaml

from staddle.estate.cellkinds import table_named
from staddle.estate.columns import TABLES
from staddle.estate.headingunit import AS_WRITTEN, UNITS
from staddle.estate.sources import OPEN, ColumnSource, Sureness, TableMap
from staddle.kernel import Fault, InputRefused
from staddle.kernel.likeness import did_you_mean

__all__ = ["MAP_FILE", "add_map", "change_map", "mark_derived", "read_maps", "settle_map"]

MAP_FILE: Final = "columns.yaml"
_TABLE_KEYS: Final = ("settled", "sheet", "passed_over", "derived", "columns")
_COLUMN_KEYS: Final = ("heading", "value", "unit", "separator", "decimal", "blank", "kinds", "site", "within")
_SAID_ABOVE: Final = re.compile(rf"\s*# (?:{'|'.join(Sureness)}): .*\n")
_DERIVED: Final = "# Made anew with each of these tables. To keep domains.csv by hand, remove both lines."
_HEAD: Final = """# Where the columns of this estate's exports go. Correct it, then settle it: settled: yes, or --settle.
# Keys of a column: heading (theirs; a list for several), or value (one for all rows); unit (of bare numbers, or "cell"
# for each cell's own); separator (of a list); decimal ("," or "."); blank (texts that mean nothing). "?" is open.
# Of domains also: kinds (one a heading), site (the one site of all rows), within (kinds of which names count within others).
"""


def read_maps(folder: Path) -> dict[str, TableMap]:
    """The maps by table. Returns: {} if the file is not there.

    Raises: InputRefused: not YAML, an unknown key, table or unit; everything at once, as file:line:key.
    """
    path = folder / MAP_FILE
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        return {}
    except (OSError, UnicodeDecodeError) as exc:
        raise _unreadable(path, exc) from exc
    return _maps(text, path)


def _unreadable(path: Path, exc: Exception) -> InputRefused:
    return InputRefused.one(f"the file cannot be read: {' '.join(str(exc).split())}", where=str(path))


def _maps(text: str, path: Path) -> dict[str, TableMap]:
    faults: list[Fault] = []
    try:
        root = yaml.compose(text, Loader=yaml.SafeLoader)
    except yaml.YAMLError as exc:
        raise _unreadable(path, exc) from exc
    if root is None:
        return {}
    maps: dict[str, TableMap] = {}
    for name, key, node in _pairs(root, path, faults):
        table = table_named(name)
        if table is None or name in maps:
            names = [t.file.removesuffix(".csv") for t in TABLES]
            what = f'there is no table "{name}"' if table is None else f'the table "{name}" stands twice'
            mend = did_you_mean(name, names) or "the tables are " + ", ".join(names)
            faults.append(Fault(what=what, where=_at(path, key, name), mend=mend))
            continue
        maps[name] = _table(name, key, node, path, faults)
    if faults:
        raise InputRefused(*faults)
    return maps


def add_map(folder: Path, found: TableMap) -> str:
    """The text of the file with the map of one more table at its end, each column with its reason."""
    path = folder / MAP_FILE
    text = path.read_text(encoding="utf-8-sig") if path.exists() else _HEAD
    lines = [f"{found.table}:", f"  settled: {'yes' if found.settled else 'no'}"]
    if found.sheet:
        lines.append(f"  sheet: {_quoted(found.sheet)}")
    if found.passed_over:
        lines.append(f"  passed_over: {_listed(found.passed_over)}")
    lines.append("  columns:")
    for source in found.sources:
        lines += [f"    {_said(source)}", f"    {source.column}: {{{_inline(source)}}}"]
    return text.rstrip("\n") + "\n\n" + "\n".join(lines) + "\n"


def mark_derived(folder: Path, tables: Sequence[str]) -> str:
    """The text of the file with the mark that the domains are derived from these tables; () takes the mark away."""
    path = folder / MAP_FILE
    text = path.read_text(encoding="utf-8-sig")
    root = yaml.compose(text, Loader=yaml.SafeLoader)
    for key, value in root.value if isinstance(root, yaml.MappingNode) else []:
        if key.value == "domains":
            line = text.rfind("\n", 0, key.start_mark.index) + 1
            above = text.rfind("\n", 0, max(line - 1, 0)) + 1
            start = above if text[above:line].strip() == _DERIVED else line
            text = text[:start].rstrip("\n") + "\n" + text[_end(value) :]
    if not tables:
        return text
    return f"{text.rstrip(chr(10))}\n\n{_DERIVED}\ndomains:\n  derived: {_listed(tables)}\n"


def settle_map(folder: Path, found: TableMap) -> str:
    """The text of the file with that table settled; nothing else in it is touched.

    Raises: InputRefused: the line is not written as the program writes it.
    """
    path = folder / MAP_FILE
    lines = path.read_text(encoding="utf-8-sig").splitlines(keepends=True)
    for index in range(found.line, len(lines)):
        if re.match(r"\s+settled:\s*no\b", lines[index]):
            lines[index] = re.sub(r"(settled:\s*)no\b", r"\1yes", lines[index], count=1)
            return "".join(lines)
        if re.match(r"\S", lines[index]) and not lines[index].startswith("#"):
            break
    raise InputRefused.one(
        f'the line "settled: no" of {found.table} is not found',
        where=f"{path}:{found.line}",
        mend="write settled: yes there",
    )


def change_map(folder: Path, table: str, source: ColumnSource) -> str:
    """The text of the file with that column of the table from there; nothing else in it is touched.

    Raises: InputRefused: the table's columns are written in a way in which this cannot be done.
    """
    path = folder / MAP_FILE
    text = path.read_text(encoding="utf-8-sig")
    columns = _child(_child(yaml.compose(text, Loader=yaml.SafeLoader), table), "columns")
    changed = _changed(text, columns, source) if isinstance(columns, yaml.MappingNode) else text
    wanted = [_inline(source)]
    try:
        kept = [_inline(one) for one in _maps(changed, path)[table].sources if one.column == source.column]
    except InputRefused:
        kept = []
    if kept != wanted:
        raise InputRefused.one(
            f"{source.column} of {table} cannot be changed in the file: it is not written a line a column",
            where=str(path),
            mend=f"write {source.column}: {{{_inline(source)}}} there",
        )
    return changed


def _child(node: yaml.Node | None, name: str) -> yaml.Node | None:
    pairs = node.value if isinstance(node, yaml.MappingNode) else []
    return next((value for key, value in pairs if key.value == name), None)


def _changed(text: str, columns: yaml.MappingNode, source: ColumnSource) -> str:
    for key, value in columns.value:
        if key.value == source.column:
            start, end = key.start_mark.index, _end(value)
            line = text.rfind("\n", 0, start) + 1
            above = text.rfind("\n", 0, max(line - 1, 0)) + 1
            if _SAID_ABOVE.fullmatch(
                text[above:line]
            ):  # the reason of what is replaced; a person's own comment stays
                return f"{text[:above]}{text[line:start]}{_said(source)}\n{text[line:start]}{_written(source)}{text[end:]}"
            return f"{text[:start]}{_written(source)}{text[end:]}"
    if not columns.value or columns.flow_style:
        return text
    key, value = columns.value[-1]
    indent, end = " " * key.start_mark.column, _end(value)
    end = len(text) if (line := text.find("\n", end)) < 0 else line
    return f"{text[:end]}\n{indent}{_said(source)}\n{indent}{_written(source)}{text[end:]}"


def _end(node: yaml.Node) -> int:
    """Where the node's text ends. A block's own mark stands at the next token, behind comments that are not its."""
    if isinstance(node, yaml.CollectionNode) and not node.flow_style and node.value:
        last = node.value[-1]
        return _end(last[1] if isinstance(last, tuple) else last)
    return int(node.end_mark.index)


def _written(source: ColumnSource) -> str:
    return f"{source.column}: {{{_inline(source)}}}"


def _said(source: ColumnSource) -> str:
    said = " ".join("".join(c if c.isprintable() else " " for c in source.reason).split())
    return f"# {source.sureness.value}: {said}"


def _inline(source: ColumnSource) -> str:
    parts = []
    if source.value is not None:
        parts.append(f"value: {_quoted(source.value)}")
    elif source.headings:
        one = source.headings[0] if len(source.headings) == 1 else None
        parts.append(f"heading: {_listed(source.headings) if one is None else _quoted(one)}")
    for key in ("unit", "separator", "decimal"):
        if text := getattr(source, key):
            parts.append(f"{key}: {_quoted(text)}")
    for key in ("blank", "kinds", "within"):
        if several := getattr(source, key):
            parts.append(f"{key}: {_listed(several)}")
    if source.site:
        parts.append(f"site: {_quoted(source.site)}")
    return ", ".join(parts)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # a JSON text is a YAML one (YAML 1.2.2 §1.3)


def _listed(texts: Sequence[str]) -> str:
    return "[" + ", ".join(map(_quoted, texts)) + "]"


def _at(path: Path, node: yaml.Node, key: str) -> str:
    return f"{path}:{node.start_mark.line + 1}:{key}"


def _pairs(node: yaml.Node, path: Path, faults: list[Fault]) -> list[tuple[str, yaml.Node, yaml.Node]]:
    if isinstance(node, yaml.MappingNode) and all(isinstance(key, yaml.ScalarNode) for key, _ in node.value):
        return [(key.value, key, value) for key, value in node.value]
    faults.append(Fault(what="keys and values are expected here", where=f"{path}:{node.start_mark.line + 1}"))
    return []


def _texts(node: yaml.Node, path: Path, faults: list[Fault]) -> tuple[str, ...]:
    """A text, or a list of texts."""
    entries = node.value if isinstance(node, yaml.SequenceNode) else [node]
    if all(isinstance(entry, yaml.ScalarNode) for entry in entries):
        return tuple(entry.value for entry in entries)
    faults.append(
        Fault(what="a text or a list of texts is expected here", where=f"{path}:{node.start_mark.line + 1}")
    )
    return ()


def _table(name: str, at: yaml.Node, node: yaml.Node, path: Path, faults: list[Fault]) -> TableMap:
    table = table_named(name)
    ours = [column.heading for column in table.columns] if table else []
    settled, sheet = "no", ""
    passed_over: tuple[str, ...] = ()
    derived: tuple[str, ...] = ()
    sources: list[ColumnSource] = []
    for key, mark, value in _pairs(node, path, faults):
        if key == "columns":
            for heading, where, body in _pairs(value, path, faults):
                if heading not in ours or heading in [source.column for source in sources]:
                    twice = "stands twice" if heading in ours else f"is no column of {name}"
                    mend = did_you_mean(heading, ours) or "the columns are " + ", ".join(ours)
                    faults.append(
                        Fault(what=f'"{heading}" {twice}', where=_at(path, where, heading), mend=mend)
                    )
                else:
                    sources.append(_source(heading, where, body, path, faults))
        elif key not in _TABLE_KEYS:
            faults.append(_unknown(key, _TABLE_KEYS, _at(path, mark, key)))
        elif texts := _texts(value, path, faults):
            settled = texts[0] if key == "settled" else settled
            sheet = texts[0] if key == "sheet" else sheet
            passed_over = texts if key == "passed_over" else passed_over
            derived = texts if key == "derived" else derived
    if settled not in ("yes", "no"):
        faults.append(Fault(what=f'settled: "{settled}" is neither yes nor no', where=_at(path, at, name)))
    return TableMap(
        table=name,
        settled=settled == "yes",
        sheet=sheet,
        passed_over=passed_over,
        derived=derived,
        sources=tuple(sources),
        line=at.start_mark.line + 1,
    )


def _source(heading: str, at: yaml.Node, node: yaml.Node, path: Path, faults: list[Fault]) -> ColumnSource:
    where = _at(path, at, heading)
    given: dict[str, tuple[str, ...]] = {}
    for key, mark, value in _pairs(node, path, faults):
        if key not in _COLUMN_KEYS:
            faults.append(_unknown(key, _COLUMN_KEYS, _at(path, mark, key)))
        else:
            given[key] = _texts(value, path, faults)
    first = {key: (texts[0] if texts else "") for key, texts in given.items()}
    sited = "site" in given and heading == "domains" and "value" not in given
    if ("heading" in given) == ("value" in given) and not sited:
        faults.append(
            Fault(
                what=f"{heading} needs a heading of theirs, or one value",
                where=where,
                mend="write one of the two",
            )
        )
    unit, decimal = first.get("unit", ""), first.get("decimal", "")
    if unit not in ("", OPEN, AS_WRITTEN, "%", *UNITS):
        faults.append(
            Fault(
                what=f'"{unit}" is not a unit',
                where=where,
                mend=f"the units are {', '.join(UNITS)}, %, {AS_WRITTEN}",
            )
        )
    if decimal not in ("", OPEN, ",", "."):
        faults.append(
            Fault(what=f'decimal: "{decimal}" is no decimal mark', where=where, mend='write "," or "."')
        )
    kinds = given.get("kinds", ())
    if kinds and len(kinds) != len(given.get("heading", ())):
        faults.append(
            Fault(
                what=f"{heading} has {len(kinds)} kinds for {len(given.get('heading', ()))} headings",
                where=where,
                mend="write one kind for each heading, in their order",
            )
        )
    if heading != "domains" and (odd := [key for key in ("kinds", "site", "within") if key in given]):
        faults.append(Fault(what=f"{heading} has no {odd[0]}", where=where, mend="only domains have these"))
    return ColumnSource(
        column=heading,
        headings=given.get("heading", ()),
        value=first.get("value"),
        unit=unit,
        separator=first.get("separator", ""),
        decimal=decimal,
        blank=tuple(text.casefold() for text in given.get("blank", ())),
        kinds=kinds,
        site=first.get("site", ""),
        within=given.get("within", ()),
        line=at.start_mark.line + 1,
        reason="as columns.yaml has it",
    )


def _unknown(key: str, known: Sequence[str], where: str) -> Fault:
    return Fault(
        what=f'there is no key "{key}"',
        where=where,
        mend=did_you_mean(key, known) or "the keys are " + ", ".join(known),
    )
