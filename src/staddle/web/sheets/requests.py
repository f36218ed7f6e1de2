"""The sheet requests: what other people must do, by when, in words to paste; and, when asked, what is seen done."""

import asyncio
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from staddle.answers.requests import RequestsSheet
from staddle.jobs.requests import Checked, check_requests, make_requests, requests_of
from staddle.web.sheet import Ask, Moved, Sheet, Shown

__all__ = ["SHEET", "RequestsData"]

_KEY: Final = "requests"


@dataclass(frozen=True, slots=True, kw_only=True)
class RequestsData:
    """The requests; ``checked`` by their kind, as last looked at in this server (None: not yet)."""

    sheet: RequestsSheet
    checked: dict[str, Checked]
    checked_at: datetime | None


def _view(ask: Ask) -> Shown:
    noted = ask.place.noted(_KEY)
    checked = noted.what if noted is not None else ()
    assert isinstance(checked, tuple)
    return Shown(
        data=RequestsData(
            sheet=requests_of(ask.place.folder, ask.now),
            checked={one.kind: one for one in checked},
            checked_at=None if noted is None else noted.at,
        ),
        note="Written to the job folder: sheets/requests.txt, .csv, .html and, where there are dates, .ics."
        if ask.query.get("written")
        else "",
    )


def _write(ask: Ask) -> Moved:
    with ask.place.writing:
        make_requests(ask.place.folder, ask.now)
    return Moved(to="/requests?written=yes")


def _look(ask: Ask) -> Moved:
    sheet = requests_of(ask.place.folder, ask.now)
    ask.place.note(_KEY, asyncio.run(check_requests(sheet, dns_port=ask.place.dns_port)))
    return Moved(to="/requests")


SHEET: Final = Sheet(
    name="requests",
    title="Requests",
    purpose="What other people must do before the window: whom to ask, by when, in which words.",
    order=80,
    view=_view,
    acts={"write": _write, "look": _look},
)
