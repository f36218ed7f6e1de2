"""Faults of a pydantic model in our words and at their place in the file.

One function a kind of fault; the kinds are pydantic's published error types. Not here: what the models allow.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from datetime import date
from types import UnionType
from typing import Annotated, Any, Final, Union, get_args, get_origin

from pydantic import BaseModel, RootModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from staddle.design.markedyaml import REFUSED
from staddle.design.model import Amount, Span
from staddle.design.places import LocatedFault, Path, Places, path_text
from staddle.kernel import Fault, StaddleError
from staddle.kernel.likeness import did_you_mean

__all__ = ["faults_of"]

_EXPECTED: Final = {
    "string_type": "text",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "date_type": "a date such as 2026-11-20",
    "tuple_type": 'a list of rows, each after a "-"',
    "list_type": 'a list of rows, each after a "-"',
    "model_type": "a block of keys and values",
    "dict_type": "a block of keys and values",
}
_PATTERNS: Final = {
    r"^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?$": "lower-case letters, digits and hyphens are allowed, at most 63, "
    "no hyphen at either end (RFC 1123 §2.1)",
    r"\S": "it must not be empty",
    r"^([0-9a-f]{64})?$": "64 lower-case hexadecimal digits are expected",
    r"^\d{4}-\d\d-\d\d \d\d:\d\d$": "a local time is expected, such as 2026-12-05 20:00",
}
_LIMITS: Final = {
    "greater_than_equal": ("ge", "at least {} is expected"),
    "greater_than": ("gt", "more than {} is expected"),
    "less_than_equal": ("le", "at most {} is allowed"),
    "less_than": ("lt", "less than {} is expected"),
}


def faults_of(exc: ValidationError, kind: object, places: Places) -> Iterator[LocatedFault]:
    """Each fault of the validation, in pydantic's order.

    Args: kind: the model or type that was asked for, to know the keys and descriptions at each place.
    """
    wrong_type: dict[Path, list[str]] = {}
    errors = []
    for error in exc.errors(include_url=False):
        if error["input"] is REFUSED and error["type"] != "extra_forbidden":
            continue  # told already, where the text was read
        path = _path_in_file(error, places)
        expected = _EXPECTED.get(error["type"])
        if expected is not None and path in wrong_type:
            wrong_type[path].append(expected)  # a further branch of a union: told together with the first
            continue
        if expected is not None:
            wrong_type[path] = [expected]
        errors.append((path, error))
    for path, error in errors:
        told = _Told(error, path, kind, places, wrong_type.get(path, []))
        yield places.fault_at(path, told.fault(), at_key=error["type"] == "extra_forbidden")


def _path_in_file(error: ErrorDetails, places: Places) -> Path:
    # pydantic puts the names of union branches into the path; only steps that exist in the file are kept.
    path: Path = ()
    for step in error["loc"]:
        if (*path, step) in places.values:
            path = (*path, step)
    if error["type"] == "missing":
        path = (*path, error["loc"][-1])
    return path


class _Told:
    """One error on its way to a fault."""

    def __init__(
        self, error: ErrorDetails, path: Path, kind: object, places: Places, expected: list[str]
    ) -> None:
        self._expected = " or ".join(dict.fromkeys(expected))
        self._type = error["type"]
        self._input: object = error["input"]
        self._context: Mapping[str, Any] = error.get("ctx", {})
        self._message = error["msg"]
        self._path = path
        self._kind = kind
        self._name = path_text(path) or "the file"
        self._written = places.written.get(path)

    def fault(self) -> Fault:
        ways: dict[str, Callable[[], Fault]] = {
            "extra_forbidden": self._unknown,
            "missing": self._missing,
            "literal_error": self._not_allowed,
            "enum": self._not_allowed,
            "string_pattern_mismatch": self._wrong_form,
            "too_short": self._too_few,
            "value_error": self._refused_by_rule,
        }
        if self._type in ways:
            return ways[self._type]()
        if self._type in _LIMITS:
            key, words = _LIMITS[self._type]
            return Fault(
                what=f"{self._name} = {self._shown()}: {words.format(self._context[key])}", mend=self._about()
            )
        if self._expected:
            return self._wrong_type(self._expected)
        return Fault(what=f"{self._name} = {self._shown()}: {self._message}", mend=self._about())

    def _unknown(self) -> Fault:
        *block, key = self._path
        keys = sorted({name for model in _models_at(self._kind, tuple(block)) for name in _fields(model)})
        inside = f" in {path_text(tuple(block))}" if block else ""
        return Fault(
            what=f'unknown key "{key}"{inside}',
            why="the keys here are " + ", ".join(keys) if keys else "",
            mend=did_you_mean(str(key), keys) or "remove the line, or use one of these keys",
        )

    def _missing(self) -> Fault:
        key = self._path[-1]
        return Fault(what=f"{self._name} is missing", why=self._description(), mend=f'add a line "{key}: …"')

    def _not_allowed(self) -> Fault:
        allowed = re.findall(r"'([^']*)'", str(self._context.get("expected", "")))
        words = ", ".join(allowed[:-1]) + " or " + allowed[-1] if len(allowed) > 1 else "".join(allowed)
        return Fault(
            what=f"{self._name} = {self._shown()}: {words} is expected",
            why=self._description(),
            mend=did_you_mean(str(self._input), allowed) or "write one of these",
        )

    def _wrong_form(self) -> Fault:
        pattern = str(self._context["pattern"])
        words = _PATTERNS.get(pattern, f"it must match {pattern}")
        return Fault(what=f"{self._name} = {self._shown()}: {words}", mend=self._about())

    def _too_few(self) -> Fault:
        least = self._context["min_length"]
        return Fault(
            what=f"{self._name} has {self._context['actual_length']} rows; at least {least} is expected",
            why=self._description(),
            mend=f'add a row after a "-" below {self._path[-1] if self._path else self._name}',
        )

    def _refused_by_rule(self) -> Fault:
        cause = getattr(self._context.get("error"), "__cause__", None)
        if isinstance(cause, StaddleError):
            first = cause.faults[0]
            return Fault(what=f"{self._name}: {first.what}", why=first.why, mend=first.mend)
        return Fault(what=f"{self._name} = {self._shown()}: {self._context.get('error')}", mend=self._about())

    def _wrong_type(self, expected: str) -> Fault:
        value = self._input
        if value is None:
            return Fault(
                what=f"{self._name} has no value; {expected} is expected",
                why=self._description(),
                mend="write a value, or remove the line",
            )
        mend = self._about()
        if expected == "text" and self._written is not None:
            mend = self._quoted(self._written)
        elif expected == "text" and isinstance(value, dict) and len(value) == 1:
            # "- named: a + b" without quotes is a block to YAML; the writer meant a sentence.
            ((key, rest),) = value.items()
            mend = f'put the whole text in quotes: "{key}: {rest}"'
        elif isinstance(value, str) and expected in ("a whole number", "true or false"):
            mend = self._unquoted(value, expected)
        elif expected.startswith("a list"):
            mend = (
                'put a "-" before the first key of each row'
                if isinstance(value, dict)
                else f"write [{self._shown()}], or rows below it"
            )
        elif expected.startswith("a block"):
            keys = [key for model in _models_at(self._kind, self._path) for key in _fields(model)]
            mend = f'write its keys, one a line, such as "{keys[0]}: …"' if keys else "write keys and values"
        shown = "" if isinstance(value, dict | tuple) else f" = {self._shown()}"
        return Fault(what=f"{self._name}{shown} is {_kind_of(value)}; {expected} is expected", mend=mend)

    def _quoted(self, written: str) -> str:
        field = self._field()
        for kind, unit in ((Amount, "GiB"), (Span, "s")):
            if field is not None and _is_of(field, kind):
                # The unit that the key usually has: 100 s would be no clock offset that anybody means.
                usual = str(field.default).rpartition(" ")[2] if " " in str(field.default) else unit
                return f'write its unit too, for example "{written} {usual}"'
        return f'put it in quotes: "{written}"'

    def _unquoted(self, value: str, expected: str) -> str:
        bare = value in ("true", "false") if expected == "true or false" else value.isdigit()
        return f"remove the quotes: {value}" if bare else f"write {expected}"

    def _shown(self) -> str:
        if isinstance(self._input, str):
            return f'"{self._input}"'
        if self._written is not None:
            return self._written
        return "a block" if isinstance(self._input, dict) else "a list"

    def _about(self) -> str:
        words = self._description()
        if words.startswith("for example "):
            return f"write {words}"
        return f"this is: {words}" if words else "write what is expected"

    def _description(self) -> str:
        field = self._field()
        if field is not None and field.description:
            return field.description
        documented = [
            model.__doc__ for model in _models_at(self._kind, self._path) if self._path and model.__doc__
        ]
        return (documented[0] or "").splitlines()[0].removesuffix(".") if documented else ""

    def _field(self) -> FieldInfo | None:
        for model in _models_at(self._kind, self._path[:-1]) if self._path else ():
            field = _fields(model).get(str(self._path[-1]))
            if field is not None:
                return field
        return None


def _kind_of(value: object) -> str:
    names: tuple[tuple[type, str], ...] = (
        (bool, "a truth value"),
        (int, "a number"),
        (float, "a number"),
        (str, "text"),
        (date, "a date"),
        (tuple, "a list"),
    )
    return next((name for kind, name in names if isinstance(value, kind)), "a block of keys and values")


def _is_of(field: FieldInfo, kind: object) -> bool:
    # pydantic takes the metadata of an annotation apart, but leaves it whole inside an option.
    return kind in get_args(field.annotation) or set(get_args(kind)[1:]) <= set(field.metadata)


def _fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    return {field.alias or name: field for name, field in model.model_fields.items()}


def _models_at(kind: object, path: Path) -> list[type[BaseModel]]:
    """The models that may stand at a path, through lists, mappings, options and unions."""
    level = [kind]
    for step in path:
        level = [inner for annotation in level for inner in _inside(annotation, step)]
    return [
        flat
        for annotation in level
        for flat in _flat(annotation)
        if isinstance(flat, type) and issubclass(flat, BaseModel)
    ]


def _inside(annotation: object, step: str | int) -> Iterator[object]:
    for flat in _flat(annotation):
        origin, args = get_origin(flat), get_args(flat)
        if isinstance(flat, type) and issubclass(flat, BaseModel):
            field = _fields(flat).get(str(step))
            if field is not None:
                yield field.annotation
        elif origin is dict:
            yield args[1]
        elif origin in (tuple, list):
            yield from (arg for arg in args if arg is not Ellipsis)


def _flat(annotation: object) -> Iterator[object]:
    """The annotation without options, unions, remarks and roots."""
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        yield from _flat(args[0])
    elif origin in (Union, UnionType):
        for arg in args:
            yield from _flat(arg)
    elif origin is None and isinstance(annotation, type) and issubclass(annotation, RootModel):
        yield from _flat(annotation.model_fields["root"].annotation)
    else:
        yield annotation
