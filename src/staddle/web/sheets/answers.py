"""The sheet answers: one answer sheet a member, to copy from, to print, and to write beside the job.

What nothing answers yet is answered here: one answer for all members, in which ``${name}`` stands for what differs.
"""

from dataclasses import dataclass
from typing import Final

from staddle.answers.sheets import Sheet as AnswerSheet
from staddle.jobs.sheets import answer_questions, look_at_sheets, make_sheets
from staddle.kernel import InputRefused
from staddle.web.sheet import Ask, Moved, Sheet, Shown

__all__ = ["SHEET", "AnswersData"]

_FIELD: Final = "answer "  # before the key of a question, in the name of its field
_NOTES: Final = {"written": "Written to the job folder.", "answered": "Written to design.yaml."}


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswersData:
    """The sheets that are shown. ``member`` is "" for all; ``files`` lie in sheets/ now.

    ``open_keys`` are the questions that nothing answers, as (key, label); ``known`` the names that may stand in an answer,
    with their values for the first member.
    """

    sheets: tuple[AnswerSheet, ...]
    members: tuple[str, ...]
    member: str
    open_questions: tuple[tuple[str, str, str], ...]
    open_keys: tuple[tuple[str, str], ...]
    known: tuple[tuple[str, str], ...]
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
            open_keys=report.open_keys,
            known=report.known,
            placed=report.placed,
            survey=report.survey.sentence(),
            files=tuple(sorted(f"sheets/{path.name}" for path in folder.iterdir()))
            if folder.is_dir()
            else (),
        ),
        note=next((note for word, note in _NOTES.items() if ask.query.get(word)), ""),
    )


def _write(ask: Ask) -> Moved:
    with ask.place.writing:
        make_sheets(ask.place.folder, ask.now)
    return Moved(to="/answers?written=yes")


def _answer(ask: Ask) -> Moved:
    given = [
        f"{name.removeprefix(_FIELD)}={text.strip()}"
        for name, text in ask.form.items()
        if name.startswith(_FIELD) and text.strip()
    ]
    if not given:
        raise InputRefused.one("nothing was answered", mend="fill in at least one of the fields")
    with ask.place.writing:
        answer_questions(ask.place.folder, ask.now, given)
    return Moved(to="/answers?answered=yes")


SHEET: Final = Sheet(
    name="answers",
    title="Answer sheets",
    purpose="Everything about each member that a person would type, and where each value comes from.",
    order=70,
    view=_view,
    acts={"write": _write, "answer": _answer},
)
