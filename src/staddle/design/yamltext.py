"""One value as YAML text that every reader understands alike. Blocks and rows are written by their own rooms."""

import re
from typing import Final

from staddle.design.plainscalar import read_plain
from staddle.kernel import InputRefused

__all__ = ["yaml_scalar"]

# Letters, digits and marks that mean nothing to YAML wherever they stand inside; the first must be a letter, a digit,
# a dot or a slash, the last no blank. What else may stand unquoted is not worth knowing.
_PLAIN: Final = re.compile(r"[A-Za-z0-9./](?:[A-Za-z0-9 ._/+()@-]*[A-Za-z0-9._/+()@-])?")
_ESCAPES: Final = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r"}


def yaml_scalar(text: str) -> str:
    """The text as one YAML scalar, quoted where it must be. Reading it back gives the same text.

    Raises: InputRefused: the text holds half of a character (a lone surrogate), which no file can.
    Example: yaml_scalar("no") == '"no"'
    """
    if _PLAIN.fullmatch(text) and read_plain(text) == text and isinstance(read_plain(text), str):
        return text
    return '"' + "".join(_escaped(character) for character in text) + '"'


def _escaped(character: str) -> str:
    code = ord(character)
    if 0xD800 <= code <= 0xDFFF:
        raise InputRefused.one("the text holds half of a character", mend="type the text again")
    if character in _ESCAPES:
        return _ESCAPES[character]
    if character.isprintable() and code != 0xFEFF:  # YAML 1.2.2 §5.1 printable, and no byte order mark inside
        return character
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
