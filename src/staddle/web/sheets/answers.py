"""The sheet answers: one answer sheet a member, to copy from, to print, and to write beside the job."""

from dataclasses import dataclass
from typing import Final

from staddle.answers.sheets import Sheet as AnswerSheet
from staddle.jobs.sheets import look_at_sheets, make_sheets
from staddle.kernel import InputRefused
from staddle.web.sheet import Ask, Moved, Sheet, Shown

__all__ = ["SHEET", "AnswersData"]


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswersData:
    """The sheets that are shown. ``member`` is "" for all; ``files`` lie in sheets/ now."""

    sheets: tuple[AnswerSheet, ...]
    members: tuple[str, ...]
    member: str
    open_questions: tuple[tuple[str, str, str], ...]
    placed: bool
    survey: str
    files: tuple[str, ...]


def _view(ask: Ask) -> Shown:
    report = look_at_sheets(ask.place.folder, ask.now)
    members = tuple(sheet.member for sheet in report.sheets)
    member = ask.query.get("member", "")
    if member and member not in members:
        raise InputRefused.one(
            f'there is no member "{member}"', where="address: member", mend="they are " + ", ".join(members)
        )
    folder = ask.place.folder.sheets
    return Shown(
        data=AnswersData(
            sheets=tuple(sheet for sheet in report.sheets if member in ("", sheet.member)),
            members=members,
            member=member,
            open_questions=report.open_questions,
            placed=report.placed,
            survey=report.survey.sentence(),
            files=tuple(sorted(f"sheets/{path.name}" for path in folder.iterdir()))
            if folder.is_dir()
            else (),
        ),
        note="Written to the job folder." if ask.query.get("written") else "",
    )


def _write(ask: Ask) -> Moved:
    with ask.place.writing:
        make_sheets(ask.place.folder, ask.now)
    return Moved(to="/answers?written=yes")


SHEET: Final = Sheet(
    name="answers",
    title="Answer sheets",
    purpose="Everything about each member that a person would type, and where each value comes from.",
    order=70,
    view=_view,
    acts={"write": _write},
)
