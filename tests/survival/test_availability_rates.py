"""Rates: their ranges, what people write, and what is refused, with its place."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from staddle.kernel import InputRefused
from staddle.survival.counted import count_interval, most_expected
from staddle.survival.rates import (
    ANY_DOMAIN,
    COMMON_PRACTICE,
    Origin,
    Quantity,
    Rate,
    Rates,
    rate_text,
    starting_rates,
)
from staddle.survival.ratesfile import rates_starter, read_rates

DOMAINS = {("host", "h1"), ("host", "h2"), ("rack", "R 1"), ("cellar", "deep")}


def read(text: str) -> Rates:
    return read_rates(text, where="rates.yaml", domains=DOMAINS)


def one(value: str, *, what: str = "failures", of: str = "host", origin: str = "measured") -> Rate:
    row = f'- {{what: {what}, of: "{of}", value: "{value}", origin: {origin}, source: tickets}}'
    return read(row).get(Quantity(what), of)


def told(text: str) -> str:
    with pytest.raises(InputRefused) as caught:
        read(text)
    return caught.value.text()


@pytest.mark.parametrize(
    ("failures", "confidence", "mean"),
    [(0, 0.90, 2.302585), (0, 0.95, 2.995732), (1, 0.90, 3.889720)],
)
def test_what_a_count_excludes(failures: int, confidence: float, mean: float) -> None:
    # MTBF lower bounds T / 2.302585, T / 2.995732 and T / 3.889720 (chi-squared, half).
    assert most_expected(failures, confidence) == pytest.approx(mean, rel=1e-6)


def test_an_interval_holds_the_count_and_has_a_twentieth_on_either_side() -> None:
    low, high = count_interval(3, 1)
    assert low < 3 < high
    chance = [math.exp(-low) * low**k / math.factorial(k) for k in range(3)]
    assert 1 - sum(chance) == pytest.approx(0.05, rel=1e-9)
    chance = [math.exp(-high) * high**k / math.factorial(k) for k in range(4)]
    assert sum(chance) == pytest.approx(0.05, rel=1e-9)


def test_a_count_is_a_point_with_its_interval() -> None:
    rate = one("3 in 240 years")
    assert rate.point == 3 / 240
    assert (rate.low, rate.high) == pytest.approx(tuple(end / 240 for end in count_interval(3, 1)))


def test_no_failure_seen_is_no_rate_of_nought() -> None:
    rate = one("0 in 30 years")
    assert (rate.low, rate.point) == (0, 0)
    assert rate.high == pytest.approx(2.995732 / 30, rel=1e-6)


@pytest.mark.parametrize(
    ("value", "what", "of", "low", "high"),
    [
        ("0.01 to 0.04 a year", "failures", "host", 0.01, 0.04),
        ("2 a year", "failures", "service", 2, 2),
        ("4 h to 24 h", "repair", "rack R 1", 4, 24),
        ("90 s", "restart", "machine", 0.025, 0.025),
        ("1 % to 10 %", "common-cause", "machine", 0.01, 0.1),
        ("1 to 10 %", "common-cause", "host", 0.01, 0.1),
        ("0 to 6 a year", "planned-restarts", "host h1", 0, 6),
    ],
)
def test_values_as_people_write_them(value: str, what: str, of: str, low: float, high: float) -> None:
    rate = one(value, what=what, of=of)
    assert (rate.low, rate.high) == pytest.approx((low, high))
    assert (rate.origin, rate.source, rate.written) == (Origin.MEASURED, "tickets", value)
    assert rate.point == (low if low == high else None)


def test_a_blank_value_keeps_common_practice() -> None:
    assert read("- {what: failures, of: host, value: , origin: , source: }") == starting_rates()
    assert read("") == starting_rates()


def test_the_starter_is_read_as_common_practice_and_has_every_quantity() -> None:
    text = rates_starter()
    assert read_rates(text, where="rates.yaml", domains=DOMAINS) == starting_rates()
    assert text.count("- what:") == len(COMMON_PRACTICE)
    for row in COMMON_PRACTICE:
        assert f"- what: {row.quantity}" in text
        assert f"value:  # {rate_text(row)}" in text


@given(row=st.sampled_from(COMMON_PRACTICE))
def test_what_is_printed_can_be_written(row: Rate) -> None:
    of = f'of: "{row.about}", ' if row.about else ""
    text = f'- {{what: {row.quantity}, {of}value: "{rate_text(row)}", origin: common practice}}'
    found = read_rates(text, where="rates.yaml").rows[row.quantity, row.about]
    assert (found.low, found.high) == pytest.approx((row.low, row.high), rel=1e-3)


def test_the_particular_wins_over_its_kind_and_that_over_any_domain() -> None:
    rates = read('- {what: repair, of: host h1, value: 1 h, origin: measured, source: "list 3"}')
    assert rates.of_domain(Quantity.REPAIR, "host", "h1").high == 1
    assert rates.of_domain(Quantity.REPAIR, "host", "h2").high == 72
    assert rates.of_domain(Quantity.REPAIR, "cellar", "deep").about == ANY_DOMAIN


def test_all_faults_are_told_at_once_with_their_places() -> None:
    assert (
        told(
            """- {what: failure, of: host, value: 2 a year, origin: measured, source: t}
- {what: repair, of: host h3, value: 2 h, origin: measured, source: t}
- {what: repair, of: rck, value: 2 h, origin: measured, source: t}
- {what: repair, of: host, value: 2, origin: guessed}
- {what: repair, of: cellar, value: 2 h to 1 h, origin: maker}
- {what: failures, of: host, value: 3 in 240 years, origin: maker, source: t}
- {what: detection, of: host, value: 30 s, origin: measured, source: t}
- {what: restart, of: host, value: 30 s, origin: measured, source: t}
- {what: common-cause, of: machine, value: 110 %, origin: measured, source: t}
- {what: common-cause, of: service, value: often, origin: measured, source: t}
- {what: repair, of: service, value: 2 h, origin: measured, source: t}
- {what: planned-restarts, of: rack, value: 2 a year, origin: measured, source: t}
- {what: failures, of: machine, value: 2 in 0 years, origin: measured, source: t}
- {what: failures, of: machine, value: 2 a year, origin: measured, source: t}
- {what: failures, value: 2 a year, origin: measured, source: t}
- {what: failures, of: service, value: 2 to 1 a year, origin: measured, source: t}
"""
        )
        == """\
error: there is no quantity "failure"
  where: rates.yaml:1:10
  try:   did you mean "failures"?

error: the estate has no host "h3"
  where: rates.yaml:2:22
  try:   did you mean "host h1" or "host h2"?

error: the estate has no domain of the kind "rck"
  where: rates.yaml:3:22
  try:   its kinds are cellar, host, rack

error: [3].value = 2 is a number; text is expected
  where: rates.yaml:4:35
  try:   put it in quotes: "2"

error: the value is called maker and has no source
  where: rates.yaml:5:3
  try:   write where it can be looked up: a list of tickets and its span, a paper and its page

error: "2 h to 1 h" runs backwards
  where: rates.yaml:5:37
  try:   write the smaller value first

error: "3 in 240 years" is a count, and its origin is maker
  where: rates.yaml:6:37
  try:   write origin: measured, or a range

error: detection is the cluster's
  where: rates.yaml:7:25
  try:   remove of

error: nothing is known as the restart of "host"
  where: rates.yaml:8:23
  try:   write machine or service

error: "110 %" is no value that can be
  where: rates.yaml:9:44
  why:   a value is 0 or more, and a share at most 100 %
  try:   look it up again

error: "often" is no share
  where: rates.yaml:10:44
  try:   write for example "5 %", or "1 % to 10 %"

error: repair is not about a service
  where: rates.yaml:11:22
  try:   write a row of restart for it

error: planned restarts are those of hosts
  where: rates.yaml:12:32
  try:   write host, or "host NAME"

error: "2 in 0 years" was counted over no time
  where: rates.yaml:13:40
  try:   write the years that were watched

error: failures of machine stands twice
  where: rates.yaml:14:10
  why:   it stands first at rates.yaml:13:10
  try:   keep one row

error: failures of what?
  where: rates.yaml:15:3
  try:   write of: and a kind of domain, or "machine" or "service"

error: "2 to 1 a year" runs backwards
  where: rates.yaml:16:40
  try:   write the smaller value first"""
    )


def test_a_range_that_cannot_be_is_refused() -> None:
    with pytest.raises(InputRefused, match="runs backwards"):
        replace(COMMON_PRACTICE[0], low=2, high=1)
    with pytest.raises(InputRefused, match="is no value that can be"):
        replace(COMMON_PRACTICE[0], low=-1, high=1)
    with pytest.raises(InputRefused, match="is no value that can be"):
        replace(COMMON_PRACTICE[0], low=1, high=float("inf"))
