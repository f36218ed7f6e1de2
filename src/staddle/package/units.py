"""Programmatic units of the CIM infrastructure: the text to a base unit and an exact factor. Pure.

Not in here: units as people write them (kernel/units.py), and where a descriptor keeps its units (disks.py,
hardware.py).

Source: DSP0004 Annex C.1, grammar; the limits on base and exponent are ours, against numbers made to exhaust.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from staddle.kernel import Finding, InputRefused, Severity

__all__ = ["BASE_UNITS", "Units", "amount_of", "read_memory_units", "read_units"]

BASE_UNITS: Final = ("bit", "byte", "count", "hertz", "percent", "second")
_MOST_CHARACTERS: Final = 500  # a unit has two or three names and a power
_MOST_DIGITS: Final = 19  # an unsigned 64-bit number has at most 20; a factor needs none near that
_MOST_EXPONENT: Final = 80  # 2^80 is a yobibyte; nothing in a package is larger

# Words of drafts that came before the standard. From memory: they meant powers of 1024.
_FREE_WORDS: Final = {
    word: 1024**power
    for power, words in enumerate(
        (
            ("b",),
            ("kilobytes", "kilobyte", "kb", "kib"),
            ("megabytes", "megabyte", "mb", "mib"),
            ("gigabytes", "gigabyte", "gb", "gib"),
            ("terabytes", "terabyte", "tb", "tib"),
        )
    )
    for word in words
}
_NAME: Final = r"[A-Za-z]+"
_FORM: Final = re.compile(
    rf"(?P<bases>{_NAME}(?:\s?[*/]\s?{_NAME})*)"
    r"(?:\s?(?P<number_sign>[*/])\s?(?P<number>\d+(?:\.\d+)?))?"
    r"(?:\s?(?P<power_sign>[*/])\s?(?P<base>\d+)\s?\^\s?(?P<exponent>[+-]?\d+))?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Units:
    """A unit: ``base`` is a base unit or a quotient or product of them, ``factor`` how many of it one unit is.

    ``findings`` tell how the text departs from the standard.
    """

    base: str
    factor: Fraction
    findings: tuple[Finding, ...] = ()


def read_units(text: str) -> Units:
    """The unit that the text names. Plurals, capitals, extra blanks and the drafts' words are read with a finding.

    Raises: InputRefused: no unit of this grammar, or a base unit that no package needs.
    Source: DSP0004 Annex C.1.
    Example: read_units("byte * 2^30").factor == 1073741824
    """
    if len(text) > _MOST_CHARACTERS:
        raise _refused(text[:_MOST_CHARACTERS] + "…")
    plain = " ".join(text.split())
    if plain.lower() in _FREE_WORDS:
        factor = _FREE_WORDS[plain.lower()]
        return Units(
            base="byte",
            factor=Fraction(factor),
            findings=(_departure("unit-word", text, f"read as byte * {factor}"),),
        )
    match = _FORM.fullmatch(text) or _FORM.fullmatch(re.sub(r"\s*([*/^])\s*", r" \1 ", plain))
    if match is None:
        raise _refused(text)
    findings = []
    if _FORM.fullmatch(text) is None:
        findings.append(_departure("unit-blanks", text, "read without its extra blanks"))
    bases = re.split(r"\s?([*/])\s?", match["bases"])
    for index, name in enumerate(bases):
        if index % 2 or name in BASE_UNITS:
            continue
        if name.lower() not in BASE_UNITS and name.lower().removesuffix("s") not in BASE_UNITS:
            raise _refused(text)
        bases[index] = name.lower() if name.lower() in BASE_UNITS else name.lower().removesuffix("s")
        findings.append(_departure("unit-spelling", text, f'"{name}" is read as "{bases[index]}"'))
    return Units(base=" ".join(bases), factor=_factor(match, text), findings=tuple(findings))


def _factor(match: re.Match[str], text: str) -> Fraction:
    factor = Fraction(1)
    if match["number"]:
        number = Fraction(match["number"])
        if not number or len(match["number"]) > _MOST_DIGITS:
            raise _refused(text)
        factor = factor * number if match["number_sign"] == "*" else factor / number
    if match["base"]:
        base, exponent = int(match["base"][: _MOST_DIGITS + 1]), int(match["exponent"][: _MOST_DIGITS + 1])
        if not 0 < base < 10**_MOST_DIGITS or abs(exponent) > _MOST_EXPONENT:
            raise _refused(text)
        power = Fraction(base) ** exponent
        factor = factor * power if match["power_sign"] == "*" else factor / power
    return factor


def read_memory_units(text: str | None) -> Units:
    """The unit of a memory quantity. None or "" means MiB, with a finding.

    Raises: InputRefused: not a unit, or one that does not count bytes.
    Source: DSP0004 Annex C.1; the missing unit is common practice, no source.
    """
    if not text or not text.strip():
        return Units(
            base="byte",
            factor=Fraction(1024**2),
            findings=(
                Finding(
                    rule="memory-without-unit",
                    severity=Severity.RISK,
                    what="a memory quantity has no unit; it is read as MiB",
                    why="most packages mean MiB; if this one does not, the machine gets the wrong memory",
                    mend="compare the memory of each size with the maker's documents",
                    source="common practice, no source",
                ),
            ),
        )
    units = read_units(text)
    if units.base != "byte":
        raise InputRefused.one(
            f'"{text}" is not a unit of memory',
            why=f"it counts {units.base}, bytes are expected",
            mend='the maker must write for example "byte * 2^20"',
        )
    return units


def amount_of(quantity: int, units: Units) -> int:
    """So many units as a whole number of the base unit.

    Raises: InputRefused: the amount is no whole number, or has more than 64 bits.
    """
    amount = quantity * units.factor
    if amount.denominator != 1 or not 0 <= amount < 2**64:
        raise InputRefused.one(
            f"{quantity} times {units.factor} is not a whole number of {units.base} within 64 bits",
            mend="the maker must correct the quantity or its unit",
        )
    return int(amount)


def _departure(rule: str, text: str, reading: str) -> Finding:
    return Finding(
        rule=rule,
        severity=Severity.NOTE,
        what=f'the unit "{text}" is not written as the standard asks; {reading}',
        why="another importer may read it differently",
        source="DSP0004 Annex C.1",
    )


def _refused(text: str) -> InputRefused:
    return InputRefused.one(
        f'"{text}" is not a programmatic unit',
        why="a base unit is expected, then at most one number and one power; base units are "
        + ", ".join(BASE_UNITS),
        mend='the maker must write for example "byte * 2^30"',
    )
