"""Every command has its module, its function, its help and its place in docs/json.md."""

import ast
import inspect
import re
import shlex
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from staddle.cli.main import COMMANDS, make_app
from tests.cli.demo_job import staddle

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "json.md").read_text(encoding="utf-8")


def module_of(command: str) -> ModuleType:
    """The module that carries the command."""
    return import_module("staddle.cli." + command.replace("-", "_"))


def function_of(command: str) -> Callable[..., int]:
    """The function of the same name."""
    found: Callable[..., int] = getattr(module_of(command), command.replace("-", "_"))
    return found


def documented(command: str) -> dict[str, int]:
    """Outcome → exit code, as the page has them for the command; "" for those of every command."""
    heading = f"### {command}\n" if command else "## Outcomes of every command\n"
    return outcomes_below(PAGE, heading)


def outcomes_below(page: str, heading: str) -> dict[str, int]:
    """Outcome → exit code of the table below a heading."""
    section = re.split(r"^##+ ", page.split(heading, 1)[1], maxsplit=1, flags=re.MULTILINE)[0]
    return {name: int(code) for name, code in re.findall(r"^\| `([^`]+)` \| (\d) \|", section, re.MULTILINE)}


def texts_of(node: ast.expr, tree: ast.Module) -> Iterator[str]:
    """Every text that an expression can give, seen through choices, look-ups, names and functions of the module."""
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.IfExp(body=body, orelse=other):
            yield from texts_of(body, tree)
            yield from texts_of(other, tree)
        case ast.Dict(values=values):
            for value in values:
                yield from texts_of(value, tree)
        case ast.Subscript(value=value) | ast.Call(func=value):
            yield from texts_of(value, tree)
        case ast.Name(id=name):
            for meant in _meanings(name, tree):
                yield from texts_of(meant, tree)
        case _:
            raise AssertionError(f"an outcome that this test cannot follow: {ast.unparse(node)}")


def _meanings(name: str, tree: ast.Module) -> Iterator[ast.expr]:
    """What the module assigns to a name, or what its function of that name returns."""
    for node in ast.walk(tree):
        match node:
            case ast.Assign(targets=[ast.Name(id=found)], value=value) if found == name:
                yield value
            case ast.AnnAssign(target=ast.Name(id=found), value=ast.expr() as value) if found == name:
                yield value
            case ast.FunctionDef(name=found) if found == name:
                lines = [line for line in ast.walk(node) if isinstance(line, ast.Return)]
                yield from (line.value for line in lines if line.value is not None)


def outcomes_in_code(module: ModuleType) -> set[str]:
    """Every outcome that the module's calls of Screen.document can name."""
    tree = ast.parse(inspect.getsource(module))
    calls = [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr == "document"
    ]
    return {text for call in calls for text in texts_of(call.args[0], tree)}


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_the_registered_sentence_with_an_example_that_parses(command: str) -> None:
    doc = inspect.getdoc(function_of(command)) or ""
    assert doc.split("\n\n")[0].replace("\n", " ") == COMMANDS[command]
    assert COMMANDS[command].endswith(".")
    example = re.search(r"^Example: (staddle .+?)(?:\n\n|\Z)", doc, re.MULTILINE | re.DOTALL)
    assert example is not None, doc
    words = shlex.split(example[1])
    assert words[:2] == ["staddle", command]
    called, _, ignored = make_app(command).parse_args(words[1:])
    assert (called, ignored) == (function_of(command), {})


@pytest.mark.parametrize("command", COMMANDS)
def test_the_page_of_json_output_has_its_outcomes(command: str) -> None:
    code = outcomes_in_code(module_of(command))
    if command in ("rehearse", "rollout"):
        code |= outcomes_in_code(import_module("staddle.cli.carrying"))
    assert code == set(documented(command))
    assert code


def test_the_page_has_no_command_that_is_none() -> None:
    assert re.findall(r"^### (.+)$", PAGE, re.MULTILINE) == list(COMMANDS)
    assert set(documented("")) == outcomes_in_code(import_module("staddle.cli.main"))


def test_the_list_of_commands_loads_none_of_them() -> None:
    done = staddle("--help")
    assert done.returncode == 0
    for command in COMMANDS:
        assert re.search(rf"\b{command}\b", done.stdout), command
    for command, sentence in COMMANDS.items():
        assert sentence.split()[0] in done.stdout, command


def test_a_commands_own_help_shows_its_example(tmp_path: Path) -> None:
    done = staddle("place", "--help")
    assert (done.returncode, done.stderr) == (0, "")
    assert "Example: staddle place --settle" in done.stdout
    assert COMMANDS["place"] in done.stdout
