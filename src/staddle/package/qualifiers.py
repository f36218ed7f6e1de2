"""The qualifiers of a property, in the comma-separated form of CIM: read and written. Pure.

What an answer must be like because of them is judged in properties.py.

Source: DSP0243, qualifiers of properties (MinLen, MaxLen, ValueMap); DSP0004, string literals.
"""

from dataclasses import dataclass
from typing import Final

from staddle.kernel import InputRefused

__all__ = ["Qualifiers", "read_qualifiers", "write_qualifiers"]

_BLANKS: Final = " \t\r\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Qualifiers:
    """What the qualifiers say. ``allowed`` () means free; ``unknown`` are names that this program does not judge."""

    min_length: int | None = None
    max_length: int | None = None
    allowed: tuple[str, ...] = ()
    unknown: tuple[str, ...] = ()


def read_qualifiers(text: str) -> Qualifiers:
    """The qualifiers from their text. Commas inside braces and quotes belong to the value.

    Returns: Qualifiers() for an empty text.
    Raises: InputRefused: the text breaks the form; the message names the character.
    Example: read_qualifiers('MinLen(1), ValueMap{"a","b"}').allowed == ("a", "b")
    """
    scan = _Scan(text)
    lengths: dict[str, int] = {}
    allowed: tuple[str, ...] = ()
    unknown: list[str] = []
    seen: set[str] = set()
    while not scan.at_end():
        name = scan.name()
        if name.lower() in seen:
            raise scan.refused(f"{name} stands twice")
        seen.add(name.lower())
        values = scan.values()
        if name.lower() in ("minlen", "maxlen"):
            if len(values) != 1 or not (values[0].isascii() and values[0].isdigit() and len(values[0]) < 10):
                raise scan.refused(f"{name} needs one whole number")
            lengths[name.lower()] = int(values[0])
        elif name.lower() == "valuemap":
            if not values:
                raise scan.refused("ValueMap needs at least one value")
            allowed = values
        else:
            unknown.append(name)
        scan.separator()
    return Qualifiers(
        min_length=lengths.get("minlen"),
        max_length=lengths.get("maxlen"),
        allowed=allowed,
        unknown=tuple(unknown),
    )


def write_qualifiers(qualifiers: Qualifiers) -> str:
    """The qualifiers as text in the strict form; unknown ones are not written."""
    parts = []
    if qualifiers.min_length is not None:
        parts.append(f"MinLen({qualifiers.min_length})")
    if qualifiers.max_length is not None:
        parts.append(f"MaxLen({qualifiers.max_length})")
    if qualifiers.allowed:
        quoted = ('"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"' for value in qualifiers.allowed)
        parts.append("ValueMap{" + ",".join(quoted) + "}")
    return ", ".join(parts)


class _Scan:
    """One pass over the text."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self._skip()

    def _skip(self) -> None:
        while self.at < len(self.text) and self.text[self.at] in _BLANKS:
            self.at += 1

    def at_end(self) -> bool:
        return self.at >= len(self.text)

    def peek(self) -> str:
        return self.text[self.at : self.at + 1]

    def refused(self, why: str) -> InputRefused:
        return InputRefused.one(
            f"the qualifiers '{self.text}' cannot be read at character {self.at + 1}",
            why=why,
            mend='the maker must write for example MinLen(1), MaxLen(64), ValueMap{"a","b"}',
        )

    def name(self) -> str:
        start = self.at
        while self.peek().isalnum() or self.peek() == "_":
            self.at += 1
        if start == self.at:
            raise self.refused("a qualifier's name is expected")
        name = self.text[start : self.at]
        self._skip()
        return name

    def values(self) -> tuple[str, ...]:
        closing = {"(": ")", "{": "}"}.get(self.peek())
        if closing is None:
            return ()
        self.at += 1
        self._skip()
        found: list[str] = []
        while self.peek() != closing:
            found.append(self._quoted() if self.peek() == '"' else self._bare())
            self._skip()
            if self.peek() == ",":
                self.at += 1
                self._skip()
            elif self.peek() != closing:
                raise self.refused(f'a comma or "{closing}" is expected')
        self.at += 1
        self._skip()
        return tuple(found)

    def _quoted(self) -> str:
        self.at += 1
        value = ""
        while self.peek() != '"':
            # DSP0004: a backslash takes the next character as it is; \n and its like do not occur in value maps.
            if self.peek() == "\\":
                self.at += 1
            if self.at_end():
                raise self.refused("the quotation mark is never closed")
            value += self.peek()
            self.at += 1
        self.at += 1
        return value

    def _bare(self) -> str:
        start = self.at
        while self.peek() and self.peek() not in ',(){}"' + _BLANKS:
            self.at += 1
        if start == self.at:
            raise self.refused("a value is expected")
        return self.text[start : self.at]

    def separator(self) -> None:
        if self.at_end():
            return
        if self.peek() != ",":
            raise self.refused("a comma is expected between qualifiers")
        self.at += 1
        self._skip()
        if self.at_end():
            raise self.refused("nothing follows the last comma")
