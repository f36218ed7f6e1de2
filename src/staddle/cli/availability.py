"""The command availability: how much of a year the cluster serves, what takes it down, and what helps."""

import textwrap
from typing import Annotated, Any

from cyclopts import Parameter

from staddle.cli.options import Options
from staddle.cli.screen import WIDTH, Screen
from staddle.jobs.availability import AvailabilityReport, draw_availability_sheet, start_rates
from staddle.jobs.availability import availability as find_availability
from staddle.kernel import SystemClock
from staddle.survival.availability import Share
from staddle.survival.rates import rate_text
from staddle.survival.wording import (
    ASSUMPTIONS,
    about_text,
    beside,
    brings_nothing,
    minutes_text,
    notes,
    origin_text,
    worth_telling,
)

__all__ = ["availability", "availability_data", "tell_availability"]


def availability(
    *,
    start: Annotated[bool, Parameter(negative=())] = False,
    draw: Annotated[bool, Parameter(negative=())] = False,
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Tell how much of a year the cluster serves, what takes it down, and what one improvement brings.

    Rates are ranges, so the answer is one too; what is not in rates.yaml is common practice, and is printed as that.

    Example: staddle availability --draw

    Parameters
    ----------
    start
        Write a rates.yaml with every quantity and no value, to be filled from your own records.
    draw
        Write the ranking as a drawing too, records/availability.svg.
    """
    screen = Screen("availability", as_json=options.json)
    folder = options.folder()
    if start:
        file = start_rates(folder)
        screen.show(f"written: {file}; fill it from your own records, then: staddle availability")
        screen.document("started", {"file": file})
        return 0
    now = SystemClock().now()
    report = find_availability(folder, now)
    tell_availability(screen, report)
    files = (draw_availability_sheet(folder, report, now),) if draw else ()
    if files:
        screen.show()
        screen.show("written: " + ", ".join(files))
    screen.document("computed", availability_data(report) | {"files": files})
    return 0


def tell_availability(screen: Screen, report: AvailabilityReport) -> None:
    """The answer as text."""
    found = report.availability
    where = (
        "where its members stand, as settled" if report.settled else "where place would put its members now"
    )
    screen.show(f"{report.cluster}, {where}")
    screen.show()
    screen.table("", ("the same cluster", "serves", "down a year"), beside(found))
    screen.show()
    for note in notes(found):
        _prose(screen, note)
    for title, head, rows in (
        ("what takes it down: minutes a year that would be gone without it", "cause", found.causes),
        ("what one improvement brings: minutes a year less", "improvement", worth_telling(found)),
    ):
        if rows:
            screen.show()
            cells = [
                (minutes_text(row.minutes_low), minutes_text(row.minutes_high), row.what) for row in rows
            ]
            screen.table(title, ("from", "to", head), cells)
    nothing = brings_nothing(found)
    if nothing:
        screen.show()
        _prose(screen, "bring nothing here, by themselves: " + "; ".join(nothing))
    screen.show()
    rates = [(about_text(rate), rate_text(rate), origin_text(rate)) for rate in found.rates]
    title = (
        "rates"
        if report.rates_file
        else "rates (there is no rates.yaml; staddle availability --start begins one)"
    )
    screen.table(title, ("what", "value", "origin"), rates)
    screen.show()
    for sentence in ASSUMPTIONS:
        _prose(screen, sentence)


def _prose(screen: Screen, text: str) -> None:
    """A sentence on lines that are not too long to read."""
    screen.show(textwrap.fill(text, WIDTH, break_long_words=False, break_on_hyphens=False))


def availability_data(report: AvailabilityReport) -> dict[str, Any]:
    """The answer as docs/json.md has it."""
    found = report.availability
    return {
        "cluster": report.cluster,
        "settled": report.settled,
        "rates_file": report.rates_file,
        "as_placed": _share(found.share),
        "from_measured_rates": None if found.figure is None else _share(Share.single(found.figure)),
        "on_one_host": _share(found.on_one_host),
        "as_far_apart": _share(found.apart),
        "causes": found.causes,
        "improvements": found.improvements,
        "rates": found.rates,
        "members": found.cluster.members,
        "data_needed": found.cluster.data_needed,
        "notes": (*notes(found), *ASSUMPTIONS),
    }


def _share(share: Share) -> dict[str, Any]:
    (low, high), (less, more) = share.availability, share.minutes
    return {
        "availability_low": low,
        "availability_high": high,
        "minutes_down_low": less,
        "minutes_down_high": more,
        "simulated": share.simulated,
    }
