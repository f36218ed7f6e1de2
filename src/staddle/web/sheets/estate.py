"""The sheet estate: what the tables say; and how tables come to be: hand exports in, see where their columns go, mend, keep.

Where a column goes, what is open and what an answer means is estate/'s; exports and maps are kept by jobs/.
"""

from dataclasses import dataclass
from datetime import date
from typing import Final

from staddle.jobs.draft import estate_place, is_begun
from staddle.jobs.estate import EstateReport, estate_as_it_is
from staddle.jobs.estate_exports import drop_exports, keep_export, kept_exports
from staddle.jobs.estate_take import TakeReport, take_tables
from staddle.jobs.gather import design_of
from staddle.kernel import Fault, InputRefused, StaddleError
from staddle.web.sheet import Ask, Moved, Sheet, Shown
from staddle.web.typed import Typed

__all__ = ["SHEET", "EstateData"]

_KEY: Final = "estate"
_TABLES: Final = ("domains", "hosts", "pools", "networks", "guests")


@dataclass(frozen=True, slots=True, kw_only=True)
class HostRow:
    """One host and what it has left above what guests and bookings take."""

    name: str
    domains: str
    memory_bytes: int
    vcpus: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PoolRow:
    """One pool and what it has left above its floor."""

    name: str
    free_bytes: int
    promise_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EstateData:
    """The estate as its tables are (None with ``faults`` where they cannot be read), and the exports under way."""

    folder: str
    report: EstateReport | None
    hosts: tuple[HostRow, ...]
    pools: tuple[PoolRow, ...]
    faults: tuple[Fault, ...]
    tables: tuple[str, ...]
    kept: tuple[str, ...]
    take: TakeReport | None
    today: date
    by: str


def _view(ask: Ask) -> Shown:
    folder = ask.place.folder
    place = estate_place(folder)
    engineer = design_of(folder).job.engineer if is_begun(folder) else ""
    faults: tuple[Fault, ...] = ()
    report = None
    try:
        report = estate_as_it_is(place, ask.now)
    except StaddleError as exc:
        faults = exc.faults
    noted = ask.place.noted(_KEY)
    kept = tuple(table for _, table in kept_exports(ask.place.folder))
    take = noted.what if noted is not None and kept and isinstance(noted.what, TakeReport) else None
    return Shown(
        data=EstateData(
            folder=str(place),
            report=report,
            hosts=() if report is None else _hosts(report),
            pools=() if report is None else _pools(report),
            faults=faults,
            tables=_TABLES,
            kept=kept,
            take=take,
            today=ask.now.date(),
            by=engineer or ask.place.actor,
        ),
        note="The tables are written." if ask.query.get("written") else "",
    )


def _hosts(report: EstateReport) -> tuple[HostRow, ...]:
    return tuple(
        HostRow(
            name=host.name,
            domains=", ".join(host.domains),
            memory_bytes=report.left.hosts[host.name].memory_bytes,
            vcpus=report.left.hosts[host.name].vcpus,
        )
        for host in report.reading.estate.hosts
    )


def _pools(report: EstateReport) -> tuple[PoolRow, ...]:
    return tuple(
        PoolRow(
            name=pool.name,
            free_bytes=report.left.pools[pool.name].free_bytes,
            promise_bytes=report.left.pools[pool.name].promise_bytes,
        )
        for pool in report.reading.estate.pools
    )


def _taken(
    ask: Ask,
    *,
    settle: bool = False,
    replace: bool = False,
    surveyed: date | None = None,
    by: str = "",
    limit: str = "",
    answers: tuple[str, ...] = (),
) -> TakeReport:
    exports = kept_exports(ask.place.folder)
    if not exports:
        raise InputRefused.one("no export was handed in", mend="hand one in first")
    place = estate_place(ask.place.folder)
    report = take_tables(
        place,
        exports,
        settle=settle,
        replace=replace,
        surveyed=surveyed,
        surveyed_by=by,
        agree=lambda *_: settle,  # differences are shown on the sheet first, and ticked when it is kept
        answers=answers,
        age_limit=limit,
    )
    ask.place.note(_KEY, report)
    return report


def _hand_in(ask: Ask) -> Moved:
    if not ask.files:
        raise InputRefused.one("no file was chosen", mend="choose or drop at least one export")
    with ask.place.writing:
        ask.place.folder.make()
        for table, upload in ask.files.items():
            keep_export(ask.place.folder, table, upload.name, upload.content)
        # A map that was settled before settles this export too; what it would replace is shown first.
        return _after(ask, _taken(ask, replace=True))


def _answer(ask: Ask) -> Moved:
    """Answers stand in fields called "answer hosts.memory.unit"; blank ones are left open."""
    answers = tuple(
        f"{name.removeprefix('answer ')}={text.strip()}"
        for name, text in ask.form.items()
        if name.startswith("answer ") and text.strip()
    )
    if not answers:
        raise InputRefused.one("nothing was answered", mend="answer at least one point")
    with ask.place.writing:
        return _after(ask, _taken(ask, replace=True, answers=answers))


def _keep(ask: Ask) -> Moved:
    typed = Typed(ask.form)
    surveyed = typed.day("surveyed", label="the day of the survey")
    by = typed.text("by", label="the name of who surveyed")
    limit = typed.text("limit", needed=False)
    noted = ask.place.noted(_KEY)
    if noted is not None and isinstance(noted.what, TakeReport) and _replaces(noted.what):
        typed.ticked("replace", what="replacing the tables that are there")
    typed.settle()
    with ask.place.writing:
        return _after(ask, _taken(ask, settle=True, replace=True, surveyed=surveyed, by=by, limit=limit))


def _replaces(report: TakeReport) -> bool:
    lost = report.derived is not None and report.derived.loses
    return lost or any(table.replaces for table in report.tables)


def _after(ask: Ask, report: TakeReport) -> Moved:
    if not report.written:
        return Moved(to="/estate#taking")
    drop_exports(ask.place.folder)
    return Moved(to="/estate?written=yes")


def _drop(ask: Ask) -> Moved:
    with ask.place.writing:
        drop_exports(ask.place.folder)
    return Moved(to="/estate")


SHEET: Final = Sheet(
    name="estate",
    title="Estate",
    purpose="What is there and what is left of it; and how exports of others become its tables.",
    order=12,
    view=_view,
    acts={"hand-in": _hand_in, "answer": _answer, "keep": _keep, "drop": _drop},
    is_before_begin=True,
)
