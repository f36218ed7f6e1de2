"""Requests: dates against an independent calendar, every form read back by a parser that is not ours."""

import csv
import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar
from lxml import html

from staddle.answers.asking import STARTING, Asked, all_requests, port_matrix
from staddle.answers.duedates import due_dates_ics
from staddle.answers.requestfile import KINDS, RequestsFile, read_requests
from staddle.answers.requestforms import requests_csv, requests_html, requests_text
from staddle.answers.requests import ProbeKind, Request, RequestsSheet, dated, due_plan
from staddle.answers.workdays import working_day_before
from staddle.design.model import Window
from staddle.kernel import InputRefused
from staddle.kernel.cautions import CAUTIONS
from tests.answers.questions import addresses_of, design_of, package_of, profile_of

PAGE = (Path(__file__).parents[2] / "docs" / "requests.md").read_text(encoding="utf-8")
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
WINDOW = Window(opens="2026-12-05 20:00", closes="2026-12-06 02:00", zone="Europe/London")
days = st.dates(date(2000, 1, 1), date(2100, 1, 1))


def asked(servers: tuple[str, ...] = ("192.0.2.4",)) -> Asked:
    design = design_of(servers=servers)
    return Asked(
        design=design,
        addresses=addresses_of(design),
        package=package_of(),
        profile=profile_of(),
        size_id="river",
    )


def sheet(
    file: RequestsFile | None = None, windows: tuple[Window, ...] = (WINDOW,), **changes: str
) -> RequestsSheet:
    file = file or RequestsFile()
    due = due_plan(windows, NOW, file.holidays)
    facts = {"cluster": "Ousemoor levels", "change": "OM-2611", **changes}
    return RequestsSheet(
        job="levels",
        zone="ousemoor.example",
        drawn="R. Fenwold",
        made_at=NOW,
        due=due,
        requests=dated(all_requests(asked()), file, due),
        **facts,
    )


def file(text: str) -> RequestsFile:
    return read_requests(text, where="requests.yaml", today=NOW.date()).value


@given(day=days, count=st.integers(0, 60), off=st.sets(st.integers(-120, 20), max_size=25))
def test_due_dates_agree_with_numpys_business_days(day: date, count: int, off: set[int]) -> None:
    holidays = tuple(day + timedelta(days=step) for step in off)
    # numpy.busday_offset: roll to a working day first, then count; forward, since the window's own day does not count.
    roll = "forward" if count else "backward"
    wanted = np.busday_offset(day, -count, roll=roll, holidays=list(holidays))  # type: ignore[call-overload]  # dates are taken too
    assert working_day_before(day, count, holidays) == wanted.astype(object)


@pytest.mark.parametrize(
    ("opens", "zone", "day"),
    [
        ("2026-12-07 00:30", "Europe/London", date(2026, 12, 7)),
        # Sum by hand: Auckland is 13 h ahead of UTC in December, so its Monday begins on UTC's Sunday.
        ("2026-12-07 02:00", "Pacific/Auckland", date(2026, 12, 7)),
        # The night in which London's clocks go forward, 28 March 2027; in June 00:30 there is UTC's day before.
        ("2027-03-28 00:30", "Europe/London", date(2027, 3, 28)),
        ("2027-06-01 00:30", "Europe/London", date(2027, 6, 1)),
    ],
)
def test_the_windows_day_is_the_local_one(opens: str, zone: str, day: date) -> None:
    closes = f"{opens[:10]} 23:00"
    assert due_plan((Window(opens=opens, closes=closes, zone=zone),), NOW, ()).opens_on == day


def test_a_clock_change_between_today_and_the_window_moves_no_date() -> None:
    window = Window(opens="2027-03-29 00:30", closes="2027-03-29 05:00", zone="Europe/London")
    due = due_plan((window,), datetime(2027, 3, 26, 23, 30, tzinfo=UTC), ())
    assert (due.today, due.opens_on) == (date(2027, 3, 26), date(2027, 3, 29))
    assert working_day_before(date(2027, 3, 29), 1, ()) == date(2027, 3, 26)


def test_the_first_window_that_has_not_closed_counts() -> None:
    past = Window(opens="2026-11-01 20:00", closes="2026-11-01 22:00", zone="UTC")
    later = Window(opens="2027-01-09 20:00", closes="2027-01-09 22:00", zone="UTC")
    assert due_plan((later, WINDOW, past), NOW, ()).opens_on == date(2026, 12, 5)


@pytest.mark.parametrize(
    ("windows", "why"),
    [
        ((), "the design has no window, so nothing has a date"),
        (
            (Window(opens="2026-11-01 20:00", closes="2026-11-01 22:00", zone="UTC"),),
            "every window of the design has closed, so nothing has a date",
        ),
    ],
)
def test_without_a_window_there_is_no_date_and_it_is_said(windows: tuple[Window, ...], why: str) -> None:
    made = sheet(windows=windows)
    assert {one.due_on for one in made.requests} == {None}
    assert made.late() == ()
    assert f"No due dates: {why}." in requests_text(made)
    assert due_dates_ics(made) == ""


def test_late_is_before_today_and_unsigned() -> None:
    # numpy agrees on these days; 2026-12-05 is a Saturday. Ten working days before it is Monday 23 November.
    by_kind = {one.kind: one for one in sheet().requests}
    assert (by_kind["openings"].due_on, by_kind["openings"].is_late) == (date(2026, 11, 23), True)
    assert (by_kind["names"].due_on, by_kind["names"].is_late) == (date(2026, 11, 30), False)
    row = "requests: [{request: openings, done: true, by: T. Sedgeley, day: 2026-11-24}]"
    signed = {one.kind: one for one in sheet(file(row)).requests}["openings"]
    assert (signed.is_late, signed.signed_by, signed.signed_on) == (False, "T. Sedgeley", date(2026, 11, 24))
    on_the_day = {
        one.kind: one for one in sheet(file("requests: [{request: openings, lead_days: 8}]")).requests
    }
    assert (on_the_day["openings"].due_on, on_the_day["openings"].is_late) == (date(2026, 11, 25), False)
    assert on_the_day["openings"].is_due(NOW.date())


def test_the_file_changes_owner_lead_time_and_holidays() -> None:
    text = "holidays: [2026-12-04]\nrequests: [{request: console, owner: night shift, lead_days: 1}]"
    one = next(one for one in sheet(file(text)).requests if one.kind == "console")
    assert (one.owner, one.lead_days, one.due_on) == ("night shift", 1, date(2026, 12, 3))


def test_every_fault_of_the_file_is_told_at_its_place() -> None:
    text = (
        "requests:\n"
        "  - {request: names, done: true}\n"
        "  - {request: names, by: T. Sedgeley}\n"
        "  - {request: backup, done: true, by: T. Sedgeley, day: 2027-01-01}\n"
    )
    with pytest.raises(InputRefused) as refused:
        file(text)
    told = [(fault.what, fault.where) for fault in refused.value.faults]
    assert told == [
        ('"names" is done, but not signed', "requests.yaml:2:28"),
        ('"names" is signed, but not done', "requests.yaml:3:5"),
        ('"names" has two rows', "requests.yaml:3:15"),
        ('"backup" is signed on 2027-01-01, which is still to come', "requests.yaml:4:57"),
    ]
    with pytest.raises(InputRefused):
        file("requests: [{request: lunch}]")


def test_every_kind_is_asked_for_once_and_told_on_the_page() -> None:
    assert [one.kind for one in all_requests(asked())] == list(KINDS) == list(STARTING)
    rows = re.findall(r"^\| `(\w+)` \| (.+?) \| (\d+) \|$", PAGE, re.MULTILINE)
    assert {kind: (owner, int(lead)) for kind, owner, lead in rows} == STARTING
    example = re.search(r"```yaml\n(.*?)```", PAGE, re.DOTALL)
    assert example is not None
    assert file(example[1]).requests[0].owner == "boundary team"


def test_the_port_matrix_has_members_clients_names_and_time() -> None:
    rows = {(row.who, row.whom, row.protocol, row.port) for row in port_matrix(asked()).rows}
    assert rows == {
        ("clients", "members", "tcp", 8443),
        ("engineer's machine", "members", "tcp", 8443),
        ("members", "members", "tcp", 8443),
        ("members", "name servers", "tcp", 53),  # RFC 7766 §5
        ("members", "name servers", "udp", 53),  # RFC 1035 §4.2
        ("engineer's machine", "name servers", "tcp", 53),
        ("engineer's machine", "name servers", "udp", 53),
        ("members", "time servers", "udp", 123),  # RFC 5905 §7.2
    }
    assert "time servers" not in {row.whom for row in port_matrix(asked(servers=())).rows}


def test_without_a_profile_no_port_is_invented() -> None:
    without = replace(asked(), profile=None)
    assert {(row.whom, row.port) for row in port_matrix(without).rows} == {
        ("name servers", 53),
        ("time servers", 123),
    }
    made = {one.kind: one for one in all_requests(without)}
    assert "The appliance's own ports are not known" in made["openings"].text
    assert "  clients to members  ____________" in made["openings"].text
    assert "port ____________, its certificate's end" in made["monitoring"].text
    assert [probe.kind for probe in made["addresses"].probes] == [ProbeKind.PERSON]
    assert not any("None" in one.text for one in made.values())


def test_names_are_probed_in_both_directions_at_every_server() -> None:
    names = next(one for one in all_requests(asked()) if one.kind == "names")
    forward = {p.target: p.expect for p in names.probes if p.kind is ProbeKind.FORWARD}
    assert forward == {
        "levels-1.ousemoor.example": ("192.0.2.61",),
        "levels-2.ousemoor.example": ("192.0.2.62",),
        "levels.ousemoor.example": ("192.0.2.61", "192.0.2.62"),
    }
    assert {p.target: p.expect for p in names.probes if p.kind is ProbeKind.REVERSE} == {
        "192.0.2.61": ("levels-1.ousemoor.example",),
        "192.0.2.62": ("levels-2.ousemoor.example",),
    }
    assert {p.ask for p in names.probes} == {("192.0.2.2", "192.0.2.3")}


def test_the_text_holds_every_request_within_its_width() -> None:
    made = sheet()
    text = requests_text(made)
    for one in made.requests:
        assert one.text in text
        assert f"ask by {one.due_on:%a} {one.due_on}" in text
    assert text.count("LATE") == 2 * len(made.late()) > 0
    assert max(map(len, text.splitlines())) <= 100


def test_csv_reads_back_and_starts_no_formula() -> None:
    made = sheet(file('requests: [{request: names, owner: "=1+1"}]'))
    text = requests_csv(made)
    back = {row["request"]: row for row in csv.DictReader(io.StringIO(text, newline=""))}
    assert list(back) == [one.kind for one in made.requests]
    for one in made.requests:
        row = back[one.kind]
        assert (row["text"], row["due_on"]) == (one.text, str(one.due_on))
        assert row["late"] == ("late" if one.is_late else "")
    assert back["names"]["owner"] == "'=1+1"
    assert re.search(r"[^\r]\n", text.replace(made.requests[0].text, "")[:80]) is None  # RFC 4180 §2.1


def test_the_page_reads_back_escaped_and_fetches_nothing() -> None:
    made = sheet(cluster="<script>alert(1)</script>")
    text = requests_html(made)
    page = html.fromstring(text)
    assert ["".join(map(str, pre.itertext())) for pre in page.findall(".//pre")] == [
        one.text for one in made.requests
    ]
    assert len(page.findall(".//tr[@class='late']")) == len(made.late())
    assert page.find(".//script") is None
    assert "default-src 'none'" in text
    assert "http" not in text.replace("http-equiv", "")
    assert all(caution in "".join(map(str, page.itertext())) for caution in CAUTIONS)


def test_the_calendar_reads_back_by_another_parser() -> None:
    made = sheet(cluster="Levels; north, süd \\ 水位" * 5)
    text = due_dates_ics(made)
    calendar = Calendar.from_ical(text)
    events = calendar.walk("VEVENT")
    assert [event.decoded("DTSTART") for event in events] == [one.due_on for one in made.requests]
    assert {event["DTSTART"].params["VALUE"] for event in events} == {"DATE"}
    for event, one in zip(events, made.requests, strict=True):
        assert str(event["SUMMARY"]) == f"Last day to ask: {one.title} ({made.cluster})"
        assert one.text in str(event["DESCRIPTION"])
        assert event.decoded("DTSTAMP") == NOW
    # RFC 5545 §3.1: lines end with CRLF and have 75 octets at most; a reader joins them again.
    assert "\n" not in text.replace("\r\n", "")
    assert max(len(line.encode()) for line in text.split("\r\n")) == 75


def test_identifiers_stay_when_dates_move() -> None:
    def uids(made: RequestsSheet) -> dict[str, str]:
        events = Calendar.from_ical(due_dates_ics(made)).walk("VEVENT")
        return {one.kind: str(event["UID"]) for one, event in zip(made.requests, events, strict=True)}

    later = Window(opens="2027-01-09 20:00", closes="2027-01-09 22:00", zone="UTC")
    assert uids(sheet()) == uids(sheet(windows=(later,)))
    assert len(set(uids(sheet()).values())) == len(KINDS)


@given(st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=200))
def test_any_title_survives_the_calendar(title: str) -> None:
    due = due_plan((WINDOW,), NOW, ())
    one = Request(kind="names", title=f"x{title}x", text="a", owner="b", lead_days=1, probes=())
    made = RequestsSheet(
        job="levels",
        cluster="c",
        zone="z.example",
        change="",
        drawn="d",
        made_at=NOW,
        due=due,
        requests=dated((one,), RequestsFile(), due),
    )
    text = due_dates_ics(made)
    (event,) = Calendar.from_ical(text).walk("VEVENT")
    assert str(event["SUMMARY"]) == f"Last day to ask: x{title}x (c)"
    assert max(len(line.encode()) for line in text.split("\r\n")) <= 75
