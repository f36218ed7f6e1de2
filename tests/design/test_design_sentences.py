"""Sentences, host names, local times."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.design.hostname import check_host_name, host_name_fault
from staddle.design.localtime import instant_of, window_span
from staddle.design.model import Window
from staddle.design.sentences import (
    Afterwards,
    AnyOf,
    AtMost,
    DataWithin,
    DeputyBy,
    Named,
    OneCpuLevel,
    VotesBy,
    find_apart_kind,
    parse_apart,
    parse_survive,
)
from staddle.kernel import InputRefused


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("any 1 host", AnyOf(count=1, kind="host")),
        ("any 2 hosts", AnyOf(count=2, kind="host")),
        ("any 1 racks", AnyOf(count=1, kind="rack")),
        ("any 2 switches", AnyOf(count=2, kind="switch")),
        ("any 1 switch-pair", AnyOf(count=1, kind="switch-pair")),
        ("any 1 bus", AnyOf(count=1, kind="bus")),
        ("any 2 feeds", AnyOf(count=2, kind="feed")),
        ("named: rack-a", Named(names=("rack-a",))),
        ("named: rack-a + feed-2", Named(names=("rack-a", "feed-2"))),
        ("named:host 7+ feed-2", Named(names=("host 7", "feed-2"))),
    ],
)
def test_a_sentence_is_understood(text: str, meaning: AnyOf | Named) -> None:
    assert parse_survive(text) == meaning


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("afterwards 2 data members", Afterwards(least_data=2)),
        ("afterwards 1 data member", Afterwards(least_data=1)),
        ("afterwards members share no host", Afterwards(members_share_no_host=True)),
        ("afterwards others may stay down", Afterwards(others_stay_down=True)),
        ("afterwards 6 vCPUs a core", Afterwards(vcpu_per_core=6)),
        ("afterwards 1.5 vCPUs a core", Afterwards(vcpu_per_core=1.5)),
    ],
)
def test_what_holds_afterwards_is_understood(text: str, meaning: Afterwards) -> None:
    assert parse_survive(text) == meaning


@pytest.mark.parametrize("text", ["afterwards", "afterwards 0 data members", "afterwards 0 vCPUs a core"])
def test_nothing_else_holds_afterwards(text: str) -> None:
    with pytest.raises(InputRefused):
        parse_survive(text)


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("rack", AtMost(kind="rack")),
        ("2 a rack", AtMost(kind="rack", most=2)),
        ("2 an array", AtMost(kind="array", most=2)),
        ("deputy by room", DeputyBy(kind="room")),
        ("votes by site", VotesBy(kind="site")),
        ("data within 10 ms", DataWithin(round_trip=timedelta(milliseconds=10))),
        ("data within 0.4 ms", DataWithin(round_trip=timedelta(microseconds=400))),
        ("data on one CPU level", OneCpuLevel()),
    ],
)
def test_a_row_of_apart_is_understood(
    text: str, meaning: AtMost | DeputyBy | VotesBy | DataWithin | OneCpuLevel
) -> None:
    assert parse_apart(text) == meaning


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        ("2 a rack", "rack"),
        ("deputy by room", "room"),
        ("data within 10 ms", None),
        ("data on one CPU level", None),
    ],
)
def test_the_kind_of_domain_of_a_row(text: str, kind: str | None) -> None:
    assert find_apart_kind(text) == kind


@pytest.mark.parametrize(
    "text",
    [
        "",
        "Rack",
        "0 a rack",
        "two a rack",
        "leader by rack",
        "rack row",
        "data within 10",
        "data within 0 ms",
        "data within",
    ],
)
def test_any_other_row_of_apart_is_refused(text: str) -> None:
    with pytest.raises(InputRefused):
        parse_apart(text)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "any host",
        "any 0 hosts",
        "Any 1 host",
        "any 1 Host",
        "1 host",
        "any 1",
        "named:",
        "named: a +",
        "named: a + a",
        "any -1 host",
        "any 100 hosts",
    ],
)
def test_any_other_sentence_is_refused(text: str) -> None:
    with pytest.raises(InputRefused) as caught:
        parse_survive(text)
    assert str(caught.value) == (
        f'error: "{text}" is not understood\n'
        '  why:   "any N KIND", "named: A + B" or "afterwards …" is expected\n'
        '  try:   write for example "any 1 host", "any 2 racks", "named: rack-a + feed-2", "afterwards 2 data '
        'members", "afterwards members share no host", "afterwards others may stay down" or "afterwards 6 vCPUs a core"'
    )


# RFC 952; RFC 1123 §2.1; RFC 1035 §2.3.4 (255 octets on the wire are 253 characters without the last dot)
@pytest.mark.parametrize(
    "name",
    [
        "a",
        "log-1.ousemoor.example",
        "3com.example",
        "a" * 63,
        "LOG.example",
        "x.example.",
        ".".join(["a" * 61] * 4) + ".abcde",
        "1.a",
    ],
)
def test_host_names(name: str) -> None:
    assert host_name_fault(name) == ""


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("", "it is empty"),
        (".", "it is empty"),
        ("a" * 64, f'"{"a" * 64}" has 64 characters, 63 are allowed between dots (RFC 1035 §2.3.4)'),
        (".".join(["a" * 61] * 4) + ".abcdef", "it has 254 characters, 253 are allowed (RFC 1035 §2.3.4)"),
        ("a..b", "two dots follow each other, or it begins with one"),
        (
            "log_1.example",
            '"log_1" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)',
        ),
        (
            "-a.example",
            '"-a" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)',
        ),
        (
            "a-.example",
            '"a-" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)',
        ),
        (
            "möwe.example",
            '"möwe" may hold letters, digits and hyphens only, no hyphen at either end (RFC 1123 §2.1)',
        ),
        ("192.0.2.1", 'its last part "1" is all digits, so that it looks like an address (RFC 1123 §2.1)'),
    ],
)
def test_what_is_no_host_name_and_why(name: str, fault: str) -> None:
    assert host_name_fault(name) == fault


def test_a_host_name_comes_back_in_lower_case_without_its_last_dot() -> None:
    assert check_host_name("Log-1.Ousemoor.Example.") == "log-1.ousemoor.example"


# IANA tz database, 2026: Berlin changes on 29 March and 25 October at 01:00 UTC
@pytest.mark.parametrize(
    ("opens", "closes", "zone", "hours"),
    [
        ("2026-03-28 22:00", "2026-03-29 04:00", "Europe/Berlin", 5),
        ("2026-10-24 22:00", "2026-10-25 04:00", "Europe/Berlin", 7),
        ("2026-03-07 22:00", "2026-03-08 06:00", "America/New_York", 7),
        ("2026-10-31 22:00", "2026-11-01 06:00", "America/New_York", 9),
        ("2026-12-05 20:00", "2026-12-06 02:00", "Europe/London", 6),
    ],
)
def test_a_window_is_as_long_as_the_clocks_make_it(opens: str, closes: str, zone: str, hours: int) -> None:
    first, last = window_span(Window(opens=opens, closes=closes, zone=zone))
    assert last - first == timedelta(hours=hours)


def test_a_local_time_is_an_instant_in_utc() -> None:
    assert instant_of("2026-07-01 12:00", "Europe/London") == datetime(2026, 7, 1, 11, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "zone", "first_line"),
    [
        ("2026-04-05 01:45", "Australia/Lord_Howe", "2026-04-05 01:45 exists twice in Australia/Lord_Howe"),
        ("2026-10-04 02:15", "Australia/Lord_Howe", "2026-10-04 02:15 does not exist in Australia/Lord_Howe"),
        ("2011-12-30 12:00", "Pacific/Apia", "2011-12-30 12:00 does not exist in Pacific/Apia"),
    ],
)
def test_odd_changes_of_the_clocks(text: str, zone: str, first_line: str) -> None:
    with pytest.raises(InputRefused) as caught:
        instant_of(text, zone)
    assert caught.value.faults[0].what == first_line


# The outside judge: the standard library's zoneinfo. An accepted local time reads alike with both folds and comes back.
@settings(deadline=None)  # the machine may be busy; time is not what is tested
@given(
    st.datetimes(datetime.fromisoformat("2026-01-01"), datetime.fromisoformat("2027-01-01")).map(
        lambda at: at.replace(second=0, microsecond=0)
    ),
    st.sampled_from(
        ["Europe/Berlin", "America/St_Johns", "Africa/Cairo", "Antarctica/Troll", "Asia/Kathmandu"]
    ),
)
def test_an_accepted_local_time_has_one_reading(local: datetime, zone: str) -> None:
    readings = {local.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC) for fold in (0, 1)}
    try:
        instant = instant_of(f"{local:%Y-%m-%d %H:%M}", zone)
    except InputRefused:
        assert len(readings) == 2
        return
    assert readings == {instant}
