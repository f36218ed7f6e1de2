"""Filling ``${name}`` and ``${name:number}`` in a profile's paths, bodies and queries. Pure.

A value never changes the shape of what it is put into: in a path it is percent-encoded, in a query it is a literal.
"""

import re
from collections.abc import Mapping
from typing import Final
from urllib.parse import quote

from staddle.kernel import InputRefused
from staddle.trust.secrets import Secret

__all__ = ["Values", "filled_body", "filled_path", "filled_query"]

Values = Mapping[str, str | Secret]

_HOLE: Final = re.compile(r"\$\{([^{}:]*)(:number)?\}")
# JMESPath, grammar: raw strings, quoted identifiers and literals are each one token; a backslash escapes in them.
_TOKEN: Final = re.compile(
    r"'(?P<raw>(?:\\.|[^'\\])*)'|\"(?P<quoted>(?:\\.|[^\"\\])*)\"|`(?:\\.|[^`\\])*`|" + _HOLE.pattern,
    re.DOTALL,
)


def filled_path(text: str, values: Values) -> str:
    """The path with each value as one segment's text (RFC 3986 §2.1). Raises: InputRefused: a name is not known."""
    return _HOLE.sub(lambda hole: quote(_reveal(_value(hole[1], values)), safe=""), text)


def filled_body(item: str | int | bool, values: Values) -> str | int | bool | Secret:
    """One value of a body. A secret that stands alone stays a Secret, so that no error can quote it.

    Raises: InputRefused: a name is not known, or what shall be a number is none.
    """
    if not isinstance(item, str):
        return item
    alone = _HOLE.fullmatch(item)
    if alone is None:
        return _HOLE.sub(lambda hole: _reveal(_value(hole[1], values)), item)
    found = _value(alone[1], values)
    return _number(alone[1], found) if alone[2] else found


def filled_query(query: str, values: Values | None) -> str:
    """A JMESPath expression with its values as literals; None fills each hole with an empty one, for checking.

    Raw strings with holes become JSON literals in which all but letters and digits is written as \\uXXXX: the library
    takes ``\\\\`` in a raw string for two backslashes, the grammar for one.
    Raises: InputRefused: a name is not known, or what shall be a number is none. Secrets are not known here.
    """

    def value(name: str) -> str:
        if values is None:
            return ""
        return _reveal(_value(name, {k: v for k, v in values.items() if not isinstance(v, Secret)}))

    def token(match: re.Match[str]) -> str:
        if match["raw"] is not None and _HOLE.search(match["raw"]):
            text = _HOLE.sub(lambda hole: value(hole[1]), match["raw"].replace("\\'", "'"))
            return f"`{_escaped(text)}`"
        if match["quoted"] is not None and _HOLE.search(match["quoted"]):
            return '"' + _HOLE.sub(lambda hole: _escaped(value(hole[1]))[1:-1], match["quoted"]) + '"'
        if match[3] is None:
            return match[0]
        if match[4]:
            return f"`{0 if values is None else _number(match[3], value(match[3]))}`"
        return f"`{_escaped(value(match[3]))}`"

    return _TOKEN.sub(token, query)


def _escaped(text: str) -> str:
    """A JSON string in which nothing but letters and digits stands for itself."""
    return '"' + "".join(c if c.isascii() and c.isalnum() else _unit(c) for c in text) + '"'


def _unit(character: str) -> str:
    pairs = character.encode("utf-16-be")
    return "".join(f"\\u{pairs[i : i + 2].hex()}" for i in range(0, len(pairs), 2))


def _value(name: str, values: Values) -> str | Secret:
    try:
        return values[name]
    except KeyError as exc:
        raise InputRefused.one(
            f'the profile asks for "${{{name}}}", which is not known here',
            why="known are: " + (", ".join(sorted(values)) or "none"),
            mend="correct the profile",
        ) from exc


def _reveal(value: str | Secret) -> str:
    return value.unsafe_reveal() if isinstance(value, Secret) else value


def _number(name: str, value: str | Secret) -> int:
    try:
        return int(_reveal(value))
    except ValueError:  # not chained: it quotes the value
        raise InputRefused.one(
            f'the profile asks for "${{{name}:number}}", which is no whole number here',
            mend="correct the profile",
        ) from None
