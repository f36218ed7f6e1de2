"""The command estate: what the tables say, what is left, who was promised what; and how tables come to be."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from staddle.cli.openpoints import Asking, proposed
from staddle.cli.screen import Screen, confirm
from staddle.cli.typed import is_terminal
from staddle.estate.difference import Change
from staddle.estate.sources import ColumnSource
from staddle.jobs.estate import EstateReport, look_at_estate
from staddle.jobs.estate_against import compare_surveys
from staddle.jobs.estate_domains import DerivedTable
from staddle.jobs.estate_form import write_form
from staddle.jobs.estate_map import nobody
from staddle.jobs.estate_take import TakenTable, TakeReport, take_tables
from staddle.kernel import InputRefused, SystemClock, format_binary, format_decimal

__all__ = ["estate"]

_SWITCH = Parameter(negative=())
_CHANGES = ("what", "name", "column", "before", "after")


def estate(
    folder: Path,
    *,
    take: Annotated[tuple[Path, ...], Parameter(negative=(), consume_multiple=False)] = (),
    as_: Annotated[tuple[str, ...], Parameter(name="--as", negative=(), consume_multiple=False)] = (),
    answer: Annotated[tuple[str, ...], Parameter(negative=(), consume_multiple=False)] = (),
    settle: Annotated[bool, _SWITCH] = False,
    replace: Annotated[bool, _SWITCH] = False,
    survey_date: date | None = None,
    surveyed_by: str = "",
    survey_limit: str = "",
    against: Path | None = None,
    form: Annotated[bool, _SWITCH] = False,
    json: Annotated[bool, _SWITCH] = False,
    yes: Annotated[bool, _SWITCH] = False,
) -> int:
    """Tell what the estate's tables say, what is left, and who was promised what.

    Example: staddle estate ousemoor

    Parameters
    ----------
    folder
        The folder of the estate's tables (docs/estate-tables.md).
    take
        Read this export (CSV or XLSX) as the table of --as, and propose where its columns go. May be given several times.
    as_
        The table of the export: domains, hosts, pools, networks or guests. Once for each --take, in the same order.
    answer
        With --take: answer one open point of the map, as TABLE.COLUMN=ANSWER or TABLE.COLUMN.unit=UNIT. Several times. On a
        terminal open points are asked.
    settle
        With --take: settle the map of the columns where nothing is open, and write the tables.
    replace
        With --take: replace a table that is there, after the difference was shown.
    survey_date
        With --take: the day on which the export was made.
    surveyed_by
        With --take: who made it.
    survey_limit
        With --take: how old the survey may grow before nothing more is done with it, such as "30 d".
    against
        Tell what is different from the earlier survey in this folder.
    form
        Write a form for surveying by hand, to print.
    json
        Print one JSON document instead of text.
    yes
        Answer questions with yes.
    """
    _refuse_mixture(take, as_, against, form)
    if not take and (answer or settle or replace or survey_date is not None or surveyed_by or survey_limit):
        raise InputRefused.one(
            "--answer, --settle, --replace, --survey-date, --surveyed-by and --survey-limit belong to --take",
            mend="name the export with --take FILE --as TABLE",
        )
    screen = Screen("estate", as_json=json)
    if take:
        return _take(
            screen, folder, take, as_, answer, settle, replace, survey_date, surveyed_by, survey_limit, yes
        )
    if against is not None:
        return _against(screen, folder, against)
    if form:
        path = write_form(folder, SystemClock().now())
        screen.show(f"written: {path}")
        screen.document("form written", {"file": str(path)})
        return 0
    return _look(screen, folder)


def _refuse_mixture(take: Sequence[Path], as_: Sequence[str], against: Path | None, form: bool) -> None:
    if len(take) != len(as_):
        raise InputRefused.one(
            f"{len(take)} exports are to be taken as {len(as_)} tables",
            where="--take, --as",
            mend="give --as once for each --take, in the same order",
        )
    if bool(take) + (against is not None) + form > 1:
        raise InputRefused.one("--take, --against and --form are different work", mend="give one of them")


def _look(screen: Screen, folder: Path) -> int:
    report = look_at_estate(folder, SystemClock().now())
    found = report.reading.estate
    screen.show(
        f"{found.name}: {len(found.hosts)} hosts, {len(found.pools)} pools, {len(found.guests)} guests"
    )
    screen.show(report.survey.sentence())
    screen.show()
    screen.table("hosts", ("host", "stands in", "memory left", "vCPUs left"), _hosts(report))
    screen.show()
    screen.table("pools", ("pool", "left above the floor", "may still be promised"), _pools(report))
    if report.bookings:
        screen.show()
        rows = [(b.job, b.host, b.pool, b.made_by, f"{b.until:%Y-%m-%d %H:%M} UTC") for b in report.bookings]
        screen.table("bookings", ("job", "host", "pool", "by", "until"), rows)
    if report.findings:
        screen.show()
        screen.findings(report.findings)
    screen.document("read", report)
    return 0


def _against(screen: Screen, folder: Path, against: Path) -> int:
    found = compare_surveys(folder, against, SystemClock().now())
    screen.show(
        f"{found.name}: surveyed {found.surveyed} ({found.age.text}), before that {found.surveyed_before}"
    )
    if found.changes:
        screen.table("", _CHANGES, [change.cells() for change in found.changes])
    else:
        screen.show("no difference")
    screen.document("compared", found)
    return 0


def _take(
    screen: Screen,
    folder: Path,
    take: Sequence[Path],
    as_: Sequence[str],
    answers: Sequence[str],
    settle: bool,
    replace: bool,
    surveyed: date | None,
    surveyed_by: str,
    age_limit: str,
    yes: bool,
) -> int:
    def agree(tables: Sequence[TakenTable], domains: Sequence[Change]) -> bool:
        for table in tables:
            if table.replaces:
                screen.say(f"{table.table}: {len(table.changes)} differences from the table that is there")
                _changes(screen, table.changes)
        if domains:
            screen.say(f"domains, derived: {len(domains)} differences from the table that is there")
            _changes(screen, domains)
        return confirm("Replace?", yes=yes)

    report = take_tables(
        folder,
        tuple(zip(take, as_, strict=True)),
        settle=settle,
        replace=replace,
        surveyed=surveyed,
        surveyed_by=surveyed_by,
        agree=agree,
        answers=answers,
        age_limit=age_limit,
        ask=Asking(screen) if is_terminal() else nobody,
    )
    for table in report.tables:
        _show_map(screen, table)
    if report.derived is not None:
        _show_derived(screen, report.derived)
    _advise(screen, report)
    if not report.settled:
        screen.document("open questions" if settle else "proposed", report)
        return 1 if settle else 0
    screen.document("taken" if report.written else "not confirmed", report)
    return 0 if report.written else 1


def _changes(screen: Screen, changes: Sequence[Change]) -> None:
    for change in changes:
        screen.say("  " + "  ".join(cell for cell in change.cells() if cell))


def _show_derived(screen: Screen, derived: DerivedTable) -> None:
    screen.show(f"domains, derived from {' and '.join(derived.tables)}: {len(derived.domains)}")
    rows = [(one.name, one.kind, one.inside or "") for one in derived.domains]
    screen.table("", ("domain", "kind", "inside"), rows)
    screen.show()


def _show_map(screen: Screen, table: TakenTable) -> None:
    screen.show(
        f"{table.table} from {table.file}: {table.form}; headings in row {table.heading_line}, {table.rows} rows"
    )
    rows = [
        (
            source.column,
            " + ".join((*source.headings, *_always(source))),
            source.unit,
            source.sureness.value if table.is_proposed else "kept",
            source.reason,
        )
        for source in table.columns.sources
    ]
    screen.table("", ("our column", "from theirs", "unit", "how sure", "why"), rows)
    if table.aside:
        screen.show("kept aside: " + ", ".join(table.aside))
    if table.columns.passed_over:
        screen.show("rows passed over: " + ", ".join(table.columns.passed_over))
    for fault in table.faults:
        screen.show("cell: " + "\n".join(fault.lines()))
    screen.show()


def _always(source: ColumnSource) -> tuple[str, ...]:
    said = [f"always {source.value}"] if source.value is not None else []
    return (*said, *([f"site {source.site}"] if source.site else []))


def _advise(screen: Screen, report: TakeReport) -> None:
    points = [point for table in report.tables for point in table.questions]
    for point in points:
        screen.say(f"open: {point.name}: {point.question}")
        screen.say(f"      answer: {point.may}{proposed(point)}")
    if points:
        screen.say(
            f"Answer what is open on a terminal, with --answer {points[0].name}=ANSWER once for each, or in columns.yaml."
        )
    elif not report.settled:
        screen.say(
            "columns.yaml holds the map, and nothing is open. Look it over, then run this again with --settle."
        )
    elif report.written:
        files = [f"{table.table}.csv ({table.rows} rows)" for table in report.tables]
        if report.derived is not None:
            files.append(f"domains.csv ({len(report.derived.domains)} rows)")
        screen.say("written: " + ", ".join(files))
        if report.missing:
            screen.say("still missing: " + ", ".join(report.missing))
    else:
        screen.say("nothing was written")


def _hosts(report: EstateReport) -> Sequence[Sequence[str]]:
    return [
        (
            host.name,
            ", ".join(host.domains),
            format_binary(report.left.hosts[host.name].memory_bytes),
            str(report.left.hosts[host.name].vcpus),
        )
        for host in report.reading.estate.hosts
    ]


def _pools(report: EstateReport) -> Sequence[Sequence[str]]:
    return [
        (
            pool.name,
            format_decimal(report.left.pools[pool.name].free_bytes),
            format_decimal(report.left.pools[pool.name].promise_bytes),
        )
        for pool in report.reading.estate.pools
    ]
