"""The change gate: windows as instants, against zoneinfo's own reading of the IANA rules, and each reason against."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from staddle.design.model import Window
from staddle.kernel import InputRefused
from staddle.rollout.gate import (
    Approval,
    Emergency,
    Open,
    Plea,
    Refused,
    emergency_told,
    gate,
    next_opening,
    note_of,
    open_until,
)

GOOD = Approval(
    change="OM-2611", approved_by="H. Marle", approved_on=date(2026, 3, 1), implementers=("R. Fenwold", "rf")
)


def window(opens: str, closes: str, zone: str = "Europe/London") -> Window:
    return Window(opens=opens, closes=closes, zone=zone)


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


# European Union rule of the IANA tz database: at 01:00 UTC on the last Sunday of March and of October.
SPRING = window("2026-03-29 00:30", "2026-03-29 02:30")
AUTUMN = window("2026-10-25 00:30", "2026-10-25 02:30")


@pytest.mark.parametrize(
    ("one", "opens", "closes"),
    [
        (SPRING, "2026-03-29 00:30", "2026-03-29 01:30"),  # one hour, of which the local clock shows two
        (AUTUMN, "2026-10-24 23:30", "2026-10-25 02:30"),  # three hours, of which it shows two
    ],
)
def test_a_window_over_a_change_of_clocks_is_open_as_long_as_its_instants_say(
    one: Window, opens: str, closes: str
) -> None:
    for instant, is_open in [
        (at(opens) - timedelta(seconds=1), False),
        (at(opens), True),
        (at(closes) - timedelta(seconds=1), True),
        (at(closes), False),
    ]:
        assert isinstance(gate([one], GOOD, instant), Open) is is_open
    # The outside value: the standard library's zoneinfo on the same rules.
    london = ZoneInfo("Europe/London")
    for text, instant in ((one.opens, at(opens)), (one.closes, at(closes))):
        assert datetime.fromisoformat(text).replace(tzinfo=london).astimezone(UTC) == instant


@pytest.mark.parametrize("text", ["2026-03-29 01:30", "2026-10-25 01:30"])
def test_a_window_that_ends_in_a_skipped_or_repeated_hour_opens_nothing(text: str) -> None:
    with pytest.raises(InputRefused):
        gate([window(f"{text[:10]} 00:10", text)], GOOD, at(f"{text[:10]} 00:20"))


@given(
    spans=st.lists(st.tuples(st.integers(0, 60), st.integers(1, 20)), max_size=5),
    minute=st.integers(0, 90),
)
@settings(max_examples=150)
def test_windows_that_overlap_or_adjoin_close_together(spans: list[tuple[int, int]], minute: int) -> None:
    # Against minutes counted one by one.
    start = at("2026-12-05 20:00")

    def text(minutes: int) -> str:
        return f"{start + timedelta(minutes=minutes):%Y-%m-%d %H:%M}"

    windows = [window(text(begin), text(begin + length), "UTC") for begin, length in spans]
    covered = {m for begin, length in spans for m in range(begin, begin + length)}
    end = minute
    while end in covered:
        end += 1
    until = open_until(windows, start + timedelta(minutes=minute))
    assert until == (start + timedelta(minutes=end) if end > minute else None)


def test_every_reason_against_is_told_at_once() -> None:
    bad = Approval(
        change=" ", approved_by="r.  FENWOLD", approved_on=date(2027, 1, 1), implementers=("R. Fenwold",)
    )
    verdict = gate([SPRING, AUTUMN], bad, at("2026-05-01 12:00"))
    assert isinstance(verdict, Refused)
    assert [(fault.where, fault.what) for fault in verdict.faults] == [
        ("job.change", "the change has no reference"),
        ("job.approved_on", "the approval is dated 2027-01-01, a day that has not come"),
        ("job.approved_by", "r.  FENWOLD approved the change and carries it out"),
        ("windows", "no window is open now"),
    ]
    assert verdict.faults[-1].why == "it is 2026-05-01 12:00 UTC, 2026-05-01 13:00 in Europe/London"
    assert verdict.faults[-1].mend == (
        "run the same command in the next window: it opens at 2026-10-25 00:30 Europe/London (2026-10-24 23:30 UTC)"
    )


@pytest.mark.parametrize(
    ("approval", "where"),
    [
        ({"change": ""}, "job.change"),
        ({"approved_by": ""}, "job.approved_by"),
        ({"approved_on": None}, "job.approved_on"),
        ({"approved_by": " RF "}, "job.approved_by"),
    ],
)
def test_each_reason_alone_refuses_in_an_open_window(approval: dict[str, object], where: str) -> None:
    base = {
        "change": GOOD.change,
        "approved_by": GOOD.approved_by,
        "approved_on": GOOD.approved_on,
        "implementers": GOOD.implementers,
    }
    verdict = gate([SPRING], Approval(**{**base, **approval}), at("2026-03-29 00:40"))  # type: ignore[arg-type]  # one changed
    assert isinstance(verdict, Refused)
    assert [fault.where for fault in verdict.faults] == [where]


def test_an_approval_of_today_holds_where_the_day_begins_first() -> None:
    # 2026-12-05 in Kiritimati (UTC+14) begins at 10:00 UTC of the day before (IANA tz database).
    assert ZoneInfo("Pacific/Kiritimati").utcoffset(
        datetime(2026, 12, 5, tzinfo=ZoneInfo("Pacific/Kiritimati"))
    ) == timedelta(hours=14)
    one = window("2026-12-04 09:00", "2026-12-04 12:00", "UTC")
    approval = Approval(change="x", approved_by="y", approved_on=date(2026, 12, 5), implementers=("z",))
    assert isinstance(gate([one], approval, at("2026-12-04 09:59")), Refused)
    assert isinstance(gate([one], approval, at("2026-12-04 10:00")), Open)


def test_without_a_window_every_instant_is_refused_and_past_windows_ask_for_a_new_one() -> None:
    for windows, what in [
        ([], "no window is named"),
        ([SPRING], "all windows are over; the last closed at 2026-03-29 02:30 Europe/London"),
    ]:
        verdict = gate(windows, GOOD, at("2026-06-01 12:00"))
        assert isinstance(verdict, Refused)
        assert [fault.what for fault in verdict.faults] == [what]
        assert next_opening(windows, at("2026-06-01 12:00")) is None


def test_an_emergency_passes_and_keeps_what_it_passed_over() -> None:
    plea = Plea(reason="the pumps are blind", allowed_by="T. Sedgeley")
    verdict = gate(
        [],
        Approval(change="", approved_by="", approved_on=None, implementers=("rf",)),
        at("2026-06-01"),
        plea,
    )
    assert isinstance(verdict, Emergency)
    note = note_of(verdict)
    assert note.intent == "emergency: the pumps are blind (let happen by T. Sedgeley)"
    assert note.evidence["passed_over"] == [
        "the change has no reference",
        "nobody is named who approved the change",
        "no window is named",
    ]
    unnamed = gate([], GOOD, at("2026-06-01"), Plea(reason="the pumps are blind", allowed_by=""))
    assert isinstance(unnamed, Emergency)
    assert (
        emergency_told(note_of(unnamed).evidence)
        == "emergency: the pumps are blind (who let it happen is missing)"
    )


@pytest.mark.parametrize(
    ("plea", "where"),
    [
        (Plea(reason=" ", allowed_by="T. Sedgeley"), "--emergency"),
        (Plea(reason="the pumps are blind", allowed_by="r fenwold"), None),
        (Plea(reason="the pumps are blind", allowed_by="R.Fenwold"), "--allowed-by"),
    ],
)
def test_an_emergency_needs_a_reason_and_is_never_let_happen_by_who_carries_it_out(
    plea: Plea, where: str | None
) -> None:
    verdict = gate([SPRING], GOOD, at("2026-06-01 12:00"), plea)
    if where is None:  # another spelling is another name: the program does not guess
        assert isinstance(verdict, Emergency)
    else:
        assert isinstance(verdict, Refused)
        assert [fault.where for fault in verdict.faults] == [where]
