"""Amounts and durations against IEC 80000-13 and a separate computation."""

from datetime import timedelta
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import (
    InputRefused,
    format_binary,
    format_decimal,
    format_duration,
    parse_bytes,
    parse_duration,
)
from staddle.kernel.units import BINARY_PREFIXES, DECIMAL_PREFIXES


# IEC 80000-13: prefixes for binary multiples (the powers from memory)
@pytest.mark.parametrize(
    ("prefix", "power"),
    [("Ki", 10), ("Mi", 20), ("Gi", 30), ("Ti", 40), ("Pi", 50), ("Ei", 60), ("Zi", 70), ("Yi", 80)],
)
def test_a_binary_prefix_is_the_power_of_two_of_the_standard(prefix: str, power: int) -> None:
    assert BINARY_PREFIXES[prefix] == 1 << power
    assert parse_bytes(f"1 {prefix}B") == 1 << power


# SI brochure, 9th edition, table 7: decimal prefixes (from memory)
@pytest.mark.parametrize(
    ("prefix", "power"),
    [("k", 3), ("M", 6), ("G", 9), ("T", 12), ("P", 15), ("E", 18), ("Z", 21), ("Y", 24)],
)
def test_a_decimal_prefix_is_the_power_of_ten_of_the_standard(prefix: str, power: int) -> None:
    assert DECIMAL_PREFIXES[prefix] == int("1" + "0" * power)
    assert parse_bytes(f"1 {prefix}B") == 10**power


# IEC 80000-13 prefixes; quotients computed separately, rounded to the digits shown
@pytest.mark.parametrize(
    ("decimal", "unit", "expected"),
    [("1 TB", "TiB", 0.9094947), ("2 TB", "GiB", 1862.645), ("500 GB", "GiB", 465.661)],
)
def test_decimal_amounts_in_binary_units(decimal: str, unit: str, expected: float) -> None:
    assert parse_bytes(decimal) / parse_bytes(f"1 {unit}") == pytest.approx(expected, rel=1e-6)


def test_memory_is_printed_in_binary_and_disks_in_decimal_units() -> None:
    assert format_binary(parse_bytes("64 GiB")) == "64 GiB"
    assert format_decimal(parse_bytes("500 GB")) == "500 GB"
    assert format_binary(parse_bytes("1.5 KiB")) == "1.5 KiB"
    assert format_binary(0) == "0 B"


@pytest.mark.parametrize("text", ["64", "64 Gib", "GiB", "-1 GB", "1,5 GB", "1 m", "", "1e3 B", "٣ GB."])
def test_an_amount_without_its_unit_is_refused(text: str) -> None:
    with pytest.raises(InputRefused) as caught:
        parse_bytes(text)
    assert str(caught.value) == (
        f'error: "{text}" is not an amount of bytes\n'
        "  why:   a number and its unit are expected; MiB and MB differ by 5 %, so the unit is never guessed\n"
        '  try:   write for example "64 GiB", "500 GB" or "4096 B"'
    )


def test_a_fraction_of_a_byte_is_refused() -> None:
    with pytest.raises(InputRefused) as caught:
        parse_bytes("1.0001 KiB")
    assert (
        str(caught.value) == 'error: "1.0001 KiB" is not a whole number of bytes\n  try:   use a smaller unit'
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("90 s", timedelta(seconds=90)),
        ("1.5 h", timedelta(minutes=90)),
        ("250 ms", timedelta(milliseconds=250)),
        ("2 d", timedelta(hours=48)),
        ("10min", timedelta(minutes=10)),
    ],
)
def test_durations(text: str, expected: timedelta) -> None:
    assert parse_duration(text) == expected


@pytest.mark.parametrize("text", ["90", "10 m", "1:30", "-5 s", "", "1 month"])
def test_a_duration_without_its_unit_is_refused(text: str) -> None:
    with pytest.raises(InputRefused) as caught:
        parse_duration(text)
    assert str(caught.value) == (
        f'error: "{text}" is not a duration\n'
        '  why:   a number with one of the units ms, s, min, h, d is expected ("m" could be minutes or months)\n'
        '  try:   write for example "90 s" or "10 min"'
    )


def test_a_duration_is_printed_in_at_most_two_units() -> None:
    told = [format_duration(timedelta(seconds=s)) for s in (0.25, 45, 125, 11400, 90061, -125)]
    assert told == ["0.25 s", "45 s", "2 min 5 s", "3 h 10 min", "1 d 1 h", "-2 min 5 s"]


@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(st.integers(0, 10**6), st.integers(0, 99), st.sampled_from(sorted(BINARY_PREFIXES)[1:]))
def test_an_amount_equals_its_exact_fraction(whole: int, hundredths: int, prefix: str) -> None:
    exact = (whole + Fraction(hundredths, 100)) * (
        1024 ** ["", "Ki", "Mi", "Gi", "Ti", "Pi", "Ei", "Zi", "Yi"].index(prefix)
    )
    text = f"{whole}.{hundredths:02d} {prefix}B"
    if exact.denominator == 1:
        assert parse_bytes(text) == exact
    else:
        with pytest.raises(InputRefused, match="not a whole number of bytes"):
            parse_bytes(text)
