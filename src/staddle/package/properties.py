"""What an answer to one of the package's questions must be: type, range, length, value map. Pure.

Reading the questions is products.py's work; who answers them is the business of answers/.

Source: DSP0243, property types; DSP0004, ranges of the intrinsic types (real32, real64: IEEE 754).
"""

import math
import re
from typing import Final

from staddle.kernel import Fault
from staddle.package.model import Property

__all__ = ["INTEGER_RANGES", "TYPES", "check_answer"]

INTEGER_RANGES: Final = {
    f"{sign}int{bits}": (0, 2**bits - 1) if sign == "u" else (-(2 ** (bits - 1)), 2 ** (bits - 1) - 1)
    for bits in (8, 16, 32, 64)
    for sign in ("u", "s")
}
TYPES: Final = (*INTEGER_RANGES, "string", "boolean", "real32", "real64")
_REAL_LIMITS: Final = {
    "real32": (2 - 2**-23) * 2.0**127,  # IEEE 754 binary32, largest finite
    "real64": (2 - 2**-52) * 2.0**1023,
}
_REAL: Final = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,4})?", re.ASCII)
_INTEGER: Final = re.compile(r"[+-]?\d{1,20}", re.ASCII)
# XML 1.0 §2.2 Char: anything else cannot be written into the environment document.
_NOT_XML: Final = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def check_answer(prop: Property, value: str) -> Fault | None:
    """What is wrong with this answer, or None. A password's value is never part of the fault.

    Args: prop: the question; value: the answer as text, "" for an empty one.
    Source: DSP0243, property types and qualifiers.
    """
    if not prop.user_configurable:
        fixed = {text for _, text in prop.defaults} or {""}
        return None if value in fixed else _fixed(prop)
    if _NOT_XML.search(value):
        return _fault(prop, value, "it holds a character that XML cannot carry")
    expected = _type_fault(prop, value) or _length_fault(prop, value)
    if expected:
        return _fault(prop, value, expected)
    if prop.allowed and not _is_allowed(prop, value):
        return _fault(prop, value, "the package allows " + ", ".join(f'"{text}"' for text in prop.allowed))
    return None


def _type_fault(prop: Property, value: str) -> str:
    if prop.type in INTEGER_RANGES:
        least, most = INTEGER_RANGES[prop.type]
        if _INTEGER.fullmatch(value) is None or not least <= int(value) <= most:
            return f"a whole number from {least} to {most} is expected ({prop.type})"
    elif prop.type in _REAL_LIMITS:
        limit = _REAL_LIMITS[prop.type]
        if _REAL.fullmatch(value) is None or not math.isfinite(float(value)) or abs(float(value)) > limit:
            return f"a number is expected ({prop.type})"
    elif prop.type == "boolean" and value not in ("true", "false"):
        return '"true" or "false" is expected (boolean)'
    return ""


def _length_fault(prop: Property, value: str) -> str:
    if prop.type in TYPES and prop.type != "string":
        return ""  # DSP0243: MinLen and MaxLen speak of strings
    if prop.min_length is not None and len(value) < prop.min_length:
        return f"at least {_characters(prop.min_length)} are expected, {len(value)} given"
    if prop.max_length is not None and len(value) > prop.max_length:
        return f"at most {_characters(prop.max_length)} are allowed, {len(value)} given"
    return ""


def _is_allowed(prop: Property, value: str) -> bool:
    if prop.type in INTEGER_RANGES:
        return int(value) in {int(text) for text in prop.allowed if _INTEGER.fullmatch(text)}
    return value in prop.allowed


def _characters(count: int) -> str:
    return "1 character" if count == 1 else f"{count} characters"


def _fixed(prop: Property) -> Fault:
    return Fault(
        what=f'"{prop.label}" is fixed by the maker and cannot be answered otherwise',
        where=prop.key,
        why="the package does not mark the property as configurable by the user",
        mend="remove the answer",
    )


def _fault(prop: Property, value: str, why: str) -> Fault:
    shown = "the answer given (not shown, it is a secret)" if prop.password else f'"{value}"'
    return Fault(
        what=f'{shown} does not answer "{prop.label}"',
        where=prop.key,
        why=why,
        mend="correct the answer",
    )
