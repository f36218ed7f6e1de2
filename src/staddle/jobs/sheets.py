"""sheets: an answer sheet for each member, and the zone files to ask for."""

import getpass
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from staddle.addressing.zones import forward_zone, reverse_zones
from staddle.answers.model import AnswerRow
from staddle.answers.resolve import known_values, resolve_answers
from staddle.answers.sheets import (
    Sheet,
    SheetRow,
    SheetSection,
    answer_sections,
    row_titles,
    sheet_csv,
    sheet_html,
    sheet_text,
)
from staddle.design.answering import with_rules
from staddle.design.model import Member
from staddle.design.reader import read_design
from staddle.estate.survey import SurveyStanding
from staddle.jobs.answers import answers_of
from staddle.jobs.folder import JobFolder, read_text, write_text
from staddle.jobs.gather import Gathered, gather
from staddle.jobs.survey import refuse_old_survey
from staddle.kernel import InputRefused, format_binary
from staddle.package import application_address
from staddle.placement.keeping import keeping_of, lines_of
from staddle.placement.model import Seat

__all__ = ["SheetsReport", "answer_questions", "look_at_sheets", "make_sheets", "sheets_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetsReport:
    """The sheets, the open questions as (member, label, why), and the files that were written.

    ``open_keys`` are the questions open for some member, each once, as (key, label); ``known`` is what ``${name}`` in a
    rule stands for, as (name, its value for the first member).
    """

    sheets: tuple[Sheet, ...]
    open_questions: tuple[tuple[str, str, str], ...]
    files: tuple[str, ...]
    placed: bool
    survey: SurveyStanding
    open_keys: tuple[tuple[str, str], ...] = ()
    known: tuple[tuple[str, str], ...] = ()


def make_sheets(folder: JobFolder, now: datetime) -> SheetsReport:
    """Write sheets/ of a job: text, CSV and HTML, and its zones. Without a settled placement hosts stay blank.

    Raises: InputRefused: the job has faults, or answers that the package does not allow. NotAllowed: the survey is past
        its limit.
    """
    job = gather(folder, now)
    refuse_old_survey(job, now)
    report = _report(job, now)
    files: dict[str, str] = {"answers.html": sheet_html(report.sheets)}
    for sheet in report.sheets:
        files[f"{sheet.member}.txt"] = sheet_text(sheet)
        files[f"{sheet.member}.csv"] = sheet_csv(sheet)
    addresses = job.get_addresses()
    for zone in (forward_zone(addresses), *reverse_zones(addresses)):
        files[f"zone-{zone.name}.txt"] = zone.text()
    for name, text in files.items():
        write_text(folder.sheets / name, text)
    return replace(report, files=tuple(f"sheets/{name}" for name in files))


def answer_questions(folder: JobFolder, now: datetime, answers: Sequence[str]) -> None:
    """Write answers to the package's questions into package.rules of the design, all or none.

    Args: answers: each KEY=ANSWER; an answer may hold ``${name}``, filled in for each member.
    Raises: InputRefused: an answer is not of that form, names no question, or is not allowed; the design was not changed.
    """
    rules: dict[str, str] = {}
    for written in answers:
        key, sign, rule = written.partition("=")
        if not sign:
            raise InputRefused.one(
                f'"{written}" is not KEY=ANSWER',
                where="--answer",
                mend="write the question's key as staddle package lists it, an equals sign, and the answer",
            )
        rules[key.strip()] = rule.strip()
    job = gather(folder, now)
    made = with_rules(read_text(folder.design), rules, where="design.yaml")
    design = read_design(made, where="design.yaml").design
    twice = [key for key in rules if any(key == one.property for one in design.package.answers)]
    if twice:
        raise InputRefused.one(
            f"{', '.join(twice)}: answered in package.answers already",
            where=job.places.find("package.answers"),
            why="what stands there wins over a rule",
            mend="change it there, or remove it there first",
        )
    resolve_answers(
        design=design,
        package=job.package,
        profile=job.profile,
        addresses=job.get_addresses(),
        size_id=job.size_id,
    )
    write_text(folder.design, made)


def look_at_sheets(folder: JobFolder, now: datetime) -> SheetsReport:
    """The same report with nothing written, whatever the survey's age: ``files`` is ().

    Raises: InputRefused: as make_sheets.
    """
    return _report(gather(folder, now), now)


def _report(job: Gathered, now: datetime) -> SheetsReport:
    answers = answers_of(job)
    return SheetsReport(
        sheets=sheets_of(job, now),
        open_questions=tuple(
            (one.member, title, row.reason)
            for one in answers.members
            for row, title in zip(one.rows, row_titles(one.rows), strict=True)
            if row.is_open
        ),
        files=(),
        placed=bool(job.valid_seats()),
        survey=job.survey(now),
        open_keys=tuple(
            dict.fromkeys(
                (row.key, row.label or row.key) for one in answers.members for row in one.open_rows()
            )
        ),
        known=tuple(known_values(job.design, job.design.members[0], job.get_addresses()).items()),
    )


def sheets_of(job: Gathered, now: datetime) -> tuple[Sheet, ...]:
    """One sheet a member, in the order of the design: the only place where a sheet's rows are made.

    Raises: InputRefused: no addresses, or answers that the package does not allow.
    """
    answers = answers_of(job)
    seats = {seat.member: seat for seat in job.valid_seats() or ()}
    kept = keeping_of(job.get_problem(), tuple(seats.values())) if seats else None
    return tuple(
        _sheet(
            job,
            member,
            seats,
            answers.get_member(member.name).rows,
            (
                *answer_sections(answers.get_member(member.name).rows),
                *(() if kept is None else (_keeping(lines_of(kept, member.name)),)),
            ),
            number,
            now,
        )
        for number, member in enumerate(job.design.members, 1)
    )


def _sheet(
    job: Gathered,
    member: Member,
    seats: Mapping[str, Seat],
    given: Sequence[AnswerRow],
    answers: tuple[SheetSection, ...],
    number: int,
    now: datetime,
) -> Sheet:
    return Sheet(
        job=job.design.job.name,
        cluster=job.design.job.cluster,
        change=job.design.job.change,
        member=member.name,
        drawn=job.design.job.engineer or getpass.getuser(),
        made_on=now.date(),
        survey=job.survey(now).sentence(),
        number=number,
        count=len(job.design.members),
        sections=(
            SheetSection(title="Machine", rows=_machine(job, member, seats.get(member.name))),
            SheetSection(title="Networks", rows=(*_networks(job, member), *_used_at(job, member, given))),
            *answers,
        ),
    )


def _machine(job: Gathered, member: Member, seat: Seat | None) -> tuple[SheetRow, ...]:
    hardware = job.package.get_hardware(member.size or job.size_id)
    rows = [
        SheetRow(label="Name", value=member.name),
        SheetRow(label="Host", value=seat.host if seat is not None else "not placed yet: staddle place"),
        SheetRow(label="Size", value=hardware.size_id or "the only one"),
        SheetRow(label="Processors", value=str(hardware.processors)),
        SheetRow(label="Memory", value=format_binary(hardware.memory_bytes)),
    ]
    pools = dict(seat.disks) if seat is not None else {}
    allocations = {choice.disk: choice.allocation for choice in job.design.storage.disks}
    for device in hardware.disks:
        disk = job.package.get_disk(device.disk_id)
        capacity = format_binary(disk.capacity_for(hardware.size_id))
        allocation = allocations.get(device.disk_id, job.design.storage.allocation)
        where = f" on {pools[device.disk_id]}" if device.disk_id in pools else ""
        rows.append(SheetRow(label=f"Disk {device.disk_id}", value=f"{capacity}, {allocation}{where}"))
    return tuple(rows)


def _keeping(lines: Sequence[tuple[str, str]]) -> SheetSection:
    rows = tuple(SheetRow(label=label, value=value) for label, value in lines)
    return SheetSection(title="To set on the platform, so that it stays where it is", rows=rows)


def _used_at(job: Gathered, member: Member, given: Sequence[AnswerRow]) -> tuple[SheetRow, ...]:
    """Where the product is used on this member, once it runs; () where the maker names no address."""
    address = application_address(
        job.package, member.size or job.size_id, {row.key: row.value for row in given}
    )
    return (SheetRow(label="Used at", value=address),) if address else ()


def _networks(job: Gathered, member: Member) -> tuple[SheetRow, ...]:
    mine = job.get_addresses().get_member(member.name)
    rows = [SheetRow(label="Name in DNS", value=mine.full_name)]
    rows += [
        SheetRow(
            label=f"{one.package_network}",
            value=f"{one.estate_network}: {one.address}/{one.prefix_length}"
            + (f", gateway {one.gateway}" if one.gateway else "")
            + (f", VLAN {one.vlan}" if one.vlan is not None else ""),
        )
        for one in mine.addresses
    ]
    return tuple(rows)
