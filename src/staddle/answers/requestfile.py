"""requests.yaml of a job folder: this organisation's owners, lead times and holidays, and who signed what as done."""

from datetime import date
from typing import Literal, get_args

from pydantic import Field

from staddle.design.model import Row
from staddle.design.places import LocatedFault, Places, raise_sorted
from staddle.design.reader import Read, read_model
from staddle.kernel import Fault

__all__ = ["KINDS", "Kind", "RequestLine", "RequestsFile", "read_requests"]

Kind = Literal[
    "approval",
    "addresses",
    "names",
    "openings",
    "certificates",
    "licence",
    "accounts",
    "storage",
    "backup",
    "monitoring",
    "console",
]
KINDS: tuple[str, ...] = get_args(Kind)
"""Every kind of request, in the order of the sheet where dates do not decide."""


class RequestLine(Row):
    """What the job says of one request; what it leaves out stays as it is."""

    request: Kind = Field(description="which request")
    owner: str = Field(default="", description="the role or team that is asked")
    lead_days: int | None = Field(default=None, ge=0, le=250, description="working days that the owner needs")
    done: bool = Field(default=False, description="true when a person saw that it is done")
    by: str = Field(default="", description="that person")
    day: date | None = Field(default=None, description="the day they saw it")


class RequestsFile(Row):
    """The whole of requests.yaml."""

    holidays: tuple[date, ...] = Field(default=(), description="days from Monday to Friday without work")
    requests: tuple[RequestLine, ...] = Field(default=(), description="a row for each request that differs")


def read_requests(text: str, *, where: str, today: date) -> Read[RequestsFile]:
    """The file, checked.

    Args: today: nothing can have been signed after it.
    Raises: InputRefused: every fault of the file, in the order of the file.
    """
    read = read_model(text, RequestsFile, where=where)
    raise_sorted(_faults(read.value, read.places, today))
    return read


def _faults(file: RequestsFile, places: Places, today: date) -> list[LocatedFault]:
    found: list[LocatedFault] = []
    seen: set[str] = set()
    for number, line in enumerate(file.requests):
        row = ("requests", number)
        if line.request in seen:
            mend = "keep one of them"
            found.append(
                places.fault_at((*row, "request"), Fault(what=f'"{line.request}" has two rows', mend=mend))
            )
        seen.add(line.request)
        if line.done and not (line.by.strip() and line.day):
            fault = Fault(
                what=f'"{line.request}" is done, but not signed',
                why="what no probe can see counts only with a name and a day",
                mend="add by: and day:",
            )
            found.append(places.fault_at((*row, "done"), fault))
        if not line.done and (line.by or line.day):
            fault = Fault(
                what=f'"{line.request}" is signed, but not done',
                mend="add done: true, or take by: and day: away",
            )
            found.append(places.fault_at(row, fault))
        if line.day is not None and line.day > today:
            fault = Fault(
                what=f'"{line.request}" is signed on {line.day}, which is still to come',
                mend="write the day on which it was seen",
            )
            found.append(places.fault_at((*row, "day"), fault))
    return found
