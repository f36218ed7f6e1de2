"""Programmatic units against DSP0004 Annex C.1."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.kernel import InputRefused
from staddle.package.units import BASE_UNITS, amount_of, read_memory_units, read_units


@pytest.mark.parametrize(
    ("text", "quantity", "expected"),
    [
        ("byte * 2^30", 8, 8_589_934_592),  # DSP0004 Annex C.1, as computed in the facts table
        ("byte * 10^9", 8, 8_000_000_000),  # the same
        ("byte * 1024 ^ 2", 1, 1_048_576),  # base 1024 is legal
        ("byte", 7, 7),
        ("byte * 512", 3, 1536),
        ("byte * 4 * 2^10", 2, 8192),
        ("byte*2^20", 1, 1_048_576),  # at most one blank includes none
    ],
)
def test_conforming_units_are_read_without_a_finding(text: str, quantity: int, expected: int) -> None:
    units = read_units(text)
    assert (units.base, amount_of(quantity, units), units.findings) == ("byte", expected, ())


@pytest.mark.parametrize(
    ("text", "factor", "rule"),
    [
        ("bytes*10^3", 1000, "unit-spelling"),  # written so in the class text of CIM Schema 2.49.0
        ("Byte * 2^20", 2**20, "unit-spelling"),
        ("byte  *  2^30", 2**30, "unit-blanks"),
        ("MegaBytes", 2**20, "unit-word"),  # from memory: drafts' word for 2^20
        ("GB", 2**30, "unit-word"),
        ("kilobytes", 2**10, "unit-word"),
    ],
)
def test_departures_are_read_with_a_finding(text: str, factor: int, rule: str) -> None:
    units = read_units(text)
    assert units.base == "byte"
    assert units.factor == factor
    assert [finding.rule for finding in units.findings] == [rule]
    assert text in units.findings[0].what


def test_other_base_units_and_quotients_keep_their_name() -> None:
    assert read_units("hertz*10^6").base == "hertz"  # class text of CIM Schema 2.49.0
    assert read_units("byte / second * 10^6").base == "byte / second"
    assert read_units("byte / 1024").factor == Fraction(1, 1024)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2^30",
        "byte * ",
        "furlong",
        "byte * 0",
        "byte * 2^",
        "byte * 2^9999999999",
        "byte * 0^3",
        "byte * 2 ^ 3 ^ 4",
        "byte * 2^10 * 2",
        "byte; rm",
        "byte * " + "9" * 400,
    ],
)
def test_what_is_no_unit_is_refused(text: str) -> None:
    with pytest.raises(InputRefused) as caught:
        read_units(text)
    assert str(caught.value) == (
        f'error: "{text}" is not a programmatic unit\n'
        "  why:   a base unit is expected, then at most one number and one power; base units are "
        "bit, byte, count, hertz, percent, second\n"
        '  try:   the maker must write for example "byte * 2^30"'
    )


@settings(max_examples=200)
@given(
    number=st.none() | st.integers(1, 10**9),
    power=st.none() | st.tuples(st.integers(1, 2048), st.integers(-9, 9)),
    signs=st.tuples(st.sampled_from("*/"), st.sampled_from("*/")),
    blank=st.sampled_from(["", " ", "\t", "\n"]),
)
def test_the_factor_is_the_product_of_its_parts(
    number: int | None, power: tuple[int, int] | None, signs: tuple[str, str], blank: str
) -> None:
    text, expected = "byte", Fraction(1)
    if number is not None:
        text += f"{blank}{signs[0]}{blank}{number}"
        expected = expected * number if signs[0] == "*" else expected / number
    if power is not None:
        text += f"{blank}{signs[1]}{blank}{power[0]}{blank}^{blank}{power[1]}"
        factor = Fraction(power[0]) ** power[1]
        expected = expected * factor if signs[1] == "*" else expected / factor
    units = read_units(text)
    assert units.factor == expected
    assert units.findings == ()


@given(st.text(max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        units = read_units(text)
    except InputRefused:
        return
    assert all(part in (*BASE_UNITS, "*", "/") for part in units.base.split())


def test_memory_without_a_unit_is_mib_with_a_risk() -> None:
    units = read_memory_units(None)  # common practice, no source
    assert amount_of(4096, units) == 4 * 1024**3
    assert [(f.rule, f.severity) for f in units.findings] == [("memory-without-unit", "risk")]


def test_memory_in_hertz_is_refused() -> None:
    with pytest.raises(InputRefused, match="it counts hertz, bytes are expected"):
        read_memory_units("hertz * 10^6")


@pytest.mark.parametrize(("quantity", "text"), [(1, "byte / 3"), (2**64, "byte"), (1, "byte * 2^64")])
def test_an_amount_beyond_64_bits_or_in_parts_is_refused(quantity: int, text: str) -> None:
    with pytest.raises(InputRefused, match="is not a whole number of byte within 64 bits"):
        amount_of(quantity, read_units(text))
