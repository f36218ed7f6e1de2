"""The sheet findings: everything that the review found, filtered, and accepted by name where it may be."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from staddle.jobs.review import review_job
from staddle.jobs.waive import waive
from staddle.kernel import Finding, InputRefused, Severity
from staddle.review.review import Review
from staddle.web.sheet import Ask, Moved, Sheet, Shown
from staddle.web.typed import Typed

__all__ = ["SHEET", "FindingsData"]

_PROPOSED: Final = timedelta(days=90)  # shorter than the longest that is allowed; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingsData:
    """The review, and those of its findings that the filter lets through. ``severity`` is "" for all."""

    review: Review
    shown: tuple[Finding, ...]
    counts: tuple[tuple[str, int], ...]
    severity: str
    about: str
    is_read_whole: bool
    by: str
    until: date


def _view(ask: Ask) -> Shown:
    severity, about = ask.query.get("severity", ""), ask.query.get("about", "").strip()
    if severity and severity not in {one.value for one in Severity}:
        raise InputRefused.one(
            f'there is no severity "{severity}"',
            where="address: severity",
            mend="they are " + ", ".join(one.value for one in Severity),
        )
    is_read_whole = ask.query.get("whole") == "yes"
    report = review_job(ask.place.folder, ask.now, verify=is_read_whole)
    kept = report.review.kept
    return Shown(
        data=FindingsData(
            review=report.review,
            shown=tuple(f for f in kept if severity in ("", f.severity.value) and _speaks_of(f, about)),
            counts=tuple((one.value, report.review.count(one)) for one in Severity),
            severity=severity,
            about=about,
            is_read_whole=is_read_whole,
            by=report.job.design.job.engineer,
            until=ask.now.date() + _PROPOSED,
        ),
        note="Accepted, and written to waivers.yaml." if ask.query.get("waived") else "",
    )


def _speaks_of(finding: Finding, about: str) -> bool:
    words = " ".join((finding.rule, finding.what, finding.where, finding.why, finding.mend)).casefold()
    return all(word in words for word in about.casefold().split())


def _waive(ask: Ask) -> Moved:
    typed = Typed(ask.form)
    rule = typed.text("rule")
    where = typed.text("where", needed=False)
    by = typed.text("by", label="the name of who accepts it")
    reason = typed.text("reason", label="the reason")
    until = typed.day("until", label="the last day")
    typed.settle()
    with ask.place.writing:
        waive(ask.place.folder, ask.now, rule=rule, where=where, by=by, reason=reason, until=until)
    return Moved(to="/findings?waived=yes")


SHEET: Final = Sheet(
    name="findings",
    title="Findings",
    purpose="What is wrong or risky, worst first; and what was accepted, by whom, until when.",
    order=40,
    view=_view,
    acts={"waive": _waive},
)
