"""The sheet journal: what happened, entry by entry, and the root over all of it."""

from dataclasses import dataclass
from typing import Final

from staddle.jobs.journal import JournalReport, all_journals, export_journal
from staddle.kernel import InputRefused
from staddle.plan.titles import step_title
from staddle.rollout.journal import Recorded
from staddle.web.sheet import Ask, Moved, Sheet, Shown

__all__ = ["SHEET", "JournalData"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One entry, its step in words."""

    recorded: Recorded
    step: str
    is_bad: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JournalData:
    """One rollout of ``rollouts``; ``report`` is None where there is none. ``about`` filters by step, event and actor."""

    rollouts: tuple[str, ...]
    report: JournalReport | None
    about: str
    lines: tuple[Line, ...]


def _view(ask: Ask) -> Shown:
    reports = {one.head.rollout_id: one for one in all_journals(ask.place.folder)}
    about = ask.query.get("about", "").strip()
    report = _chosen(reports, ask.query.get("rollout", ""))
    exported = ask.query.get("exported", "")
    return Shown(
        data=JournalData(
            rollouts=tuple(reversed(reports)),
            report=report,
            about=about,
            lines=()
            if report is None
            else tuple(line for one in report.entries if _speaks_of(line := _line(report, one), about)),
        ),
        note="Written to records/ of the job folder." if exported else "",
    )


def _chosen(reports: dict[str, JournalReport], asked: str) -> JournalReport | None:
    if not asked:
        return list(reports.values())[-1] if reports else None
    if asked not in reports:
        raise InputRefused.one(
            f'the journal has no rollout "{asked}"',
            where="address: rollout",
            mend="it has " + (", ".join(reports) or "none"),
        )
    return reports[asked]


def _line(report: JournalReport, one: Recorded) -> Line:
    plan, step_id = report.head.plan, one.entry.step_id
    return Line(
        recorded=one,
        step=step_title(plan, plan.get_step(step_id)) if step_id else "the rollout as a whole",
        is_bad=one.entry.event.value in ("refused", "outcome not known"),
    )


def _speaks_of(line: Line, about: str) -> bool:
    entry = line.recorded.entry
    text = f"{line.step} {entry.step_id} {entry.event.value} {entry.actor}".casefold()
    return all(word in text for word in about.casefold().split())


def _export(ask: Ask) -> Moved:
    reports = {one.head.rollout_id: one for one in all_journals(ask.place.folder)}
    report = _chosen(reports, ask.form.get("rollout", ""))
    if report is None:
        raise InputRefused.one("the journal is empty", mend="carry out a rehearsal first")
    with ask.place.writing:
        export_journal(ask.place.folder, report)
    return Moved(to=f"/journal?rollout={report.head.rollout_id}&exported=yes")


SHEET: Final = Sheet(
    name="journal",
    title="Journal",
    purpose="What happened: every step's start and end, who, when, and what was seen.",
    order=110,
    view=_view,
    acts={"export": _export},
)
