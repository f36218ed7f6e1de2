"""The page of everything that is refused of a package: ``python -m docs.refused > docs/refused.md``. A test compares the two.

The messages are taken from the code itself, so that none can be missing; what differs from case to case is shown as …
"""

import ast
import re
import sys
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Final

__all__ = ["page", "refusals"]

ROOT: Final = Path(__file__).parents[1] / "src" / "staddle" / "package"
# How a refusal is told: the function, where its "what" stands, and what is told where that is always the same.
_ARCHIVE: Final = "the archive cannot be read"
_WAYS: Final = {
    "Fault": ("what", None),
    "one": (0, None),
    "fault": (0, None),
    "_fault": (1, None),
    "_Refusal": (0, None),
    "NotTar": (None, _ARCHIVE),
    "_broken": (None, _ARCHIVE),
    "_too_much": (None, "the descriptor makes … out of what it says"),
    "refused": (None, "the qualifiers '…' cannot be read at character …"),
}
_HEAD: Final = """\
# What is refused of a package

Made from the code by `python -m docs.refused > docs/refused.md`; a test compares the two.

A package comes from outside, so nothing in it is trusted. What stands here is refused before any member is unpacked, and nothing is
written: not outside of the target, and not half. All faults are told together, each with its place and what to do. Where a package
breaks the standard in a common way that harms nobody, it is read with a finding that names the rule. … stands for what differs.

Bounds are on purpose: a descriptor and its texts have at most 4 MiB, 50,000 elements and 64 levels, an archive 10,000 members; reading any
package takes less than 100 MiB above the interpreter's own.
"""


@cache
def refusals() -> dict[str, list[tuple[str, str]]]:
    """Per module, in the order of its code, each refusal as (what, why); a why of "" where what says it all."""
    found: dict[str, list[tuple[str, str]]] = {}
    for path in sorted(ROOT.glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        rows = dict.fromkeys(row for function in _functions(tree) for row in _rows(function))
        if rows:
            found[path.stem] = list(rows)
    return found


def page() -> str:
    """The page as text."""
    parts = [_HEAD]
    for module, rows in refusals().items():
        docstring = ast.get_docstring(ast.parse((ROOT / f"{module}.py").read_text(encoding="utf-8"))) or ""
        parts.append(f"\n## {docstring.splitlines()[0]}\n\n| refused | why |\n| --- | --- |\n")
        parts += [f"| {_cell(what)} | {_cell(why)} |\n" for what, why in rows]
    return "".join(parts)


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;")


def _functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    yield from (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


def _rows(function: ast.FunctionDef) -> Iterator[tuple[str, str]]:
    reasons = [
        _text(entry.elts[1])
        for node in function.body
        if isinstance(node, ast.Assign)
        and _text_of_target(node) == "reasons"
        and isinstance(node.value, ast.Tuple)
        for entry in node.value.elts
        if isinstance(entry, ast.Tuple)
    ]
    for call in (node for node in ast.walk(function) if isinstance(node, ast.Call)):
        name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
        if name not in _WAYS:
            continue
        place, always = _WAYS[name]
        given = {word.arg: word.value for word in call.keywords}
        if always is not None:
            if call.args and (why := _text(call.args[0])) != "…":
                yield (always.replace("…", why, 1), "") if name == "_too_much" else (always, why)
            continue
        node = given.get("what") if place == "what" else None
        if isinstance(place, int) and len(call.args) > place:
            node = call.args[place]
        what = _text(node) if node is not None else "…"
        if not re.search(r"\w", what) or (name == "one" and _is_outside(call)):
            continue
        whys = [_text(given["why"])] if "why" in given else [""]
        if name == "_Refusal" and len(call.args) > 1:
            whys = [_text(call.args[1])]
        for why in reasons or whys:
            yield what, why


def _is_outside(call: ast.Call) -> bool:
    # Not the package's fault: a disk, a path, a right (OutsideFailed).
    return isinstance(call.func, ast.Attribute) and getattr(call.func.value, "id", "") != "InputRefused"


def _text_of_target(node: ast.Assign) -> str:
    return getattr(node.targets[0], "id", "")


def _text(node: ast.expr) -> str:
    match node:
        case ast.Constant(value=str(text)):
            return text
        case ast.Constant(value=value):
            return str(value)
        case ast.JoinedStr(values=values):
            return re.sub("…+", "…", "".join(_text(value) for value in values))
        case ast.BinOp(left=left, op=ast.Add(), right=right):
            return re.sub("…+", "…", _text(left) + _text(right))
        case _:
            return "…"


if __name__ == "__main__":
    sys.stdout.write(page())
