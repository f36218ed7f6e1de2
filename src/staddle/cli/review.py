"""The command review: what would go wrong, before anything is touched."""

import asyncio
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Annotated

from cyclopts import CycloptsError, Parameter

from staddle import __version__
from staddle.cli.options import Options
from staddle.cli.screen import Screen, confirm
from staddle.jobs.live import LivePlan, look_live, planned_live
from staddle.jobs.review import ReviewReport, review_job
from staddle.kernel import Severity, SystemClock, SystemRandom
from staddle.review.junit import review_junit
from staddle.review.review import refuses
from staddle.review.sarif import sarif_text

__all__ = ["review"]


def review(
    *,
    refuse_at: Severity = Severity.STOP,
    verify: Annotated[bool, Parameter(negative="--no-verify")] = True,
    sarif: Annotated[bool, Parameter(negative=())] = False,
    junit: Annotated[bool, Parameter(negative=())] = False,
    live: Annotated[bool, Parameter(negative=())] = False,
    reach: Annotated[tuple[str, ...], Parameter(negative=())] = (),
    options: Options = Options(),  # noqa: B008  frozen
) -> int:
    """Look for mistakes and risks before anything is touched.

    Findings come worst first. What a waiver in waivers.yaml accepts is told apart, and so is what could not be looked
    at; neither counts as passed.
    Example: staddle review --refuse-at risk

    Parameters
    ----------
    refuse_at
        End with 1 if a finding as bad as this stands: stop, risk or note.
    verify
        Read every byte of the package and compare it with its manifest.
    sarif
        Print a SARIF 2.1.0 log instead of text, for code hosts and editors.
    junit
        Print JUnit XML instead of text, for build servers.
    live
        Also send probes that change nothing: to the members' addresses, to name servers and time servers. They are listed
        first, and sent when you agree.
    reach
        With --live: also see that this address:port answers on TCP, for example a host or a gateway. Can be repeated.
    """
    if sum((options.json, sarif, junit)) > 1:
        raise CycloptsError(msg="only one of --json, --sarif and --junit can be printed at a time")
    if reach and not live:
        raise CycloptsError(msg="--reach is looked at with --live only")
    screen = Screen("review", as_json=options.json or sarif or junit)
    folder, now = options.folder(), SystemClock().now()
    sights = None
    if live:
        plan = planned_live(folder, now, reach=reach)
        if not _agreed(screen, plan, yes=options.yes):
            screen.show("nothing was sent, and nothing was looked at")
            screen.say("--yes answers the question; without --live no probe is needed")
            screen.document("not confirmed", {"probes": plan.lines()})
            return 1
        sights = asyncio.run(look_live(plan, clock=SystemClock(), random=SystemRandom()))
    report = review_job(
        folder,
        now,
        verify=verify,
        sights=sights,
    )
    found = report.review
    refused = refuses(found.kept, refuse_at)
    screen.show(_standing(report, refuse_at, refused=refused))
    screen.show(f"estate {report.survey.sentence()}")
    if found.kept:
        screen.show()
        screen.findings(found.kept)
    _waived(screen, report)
    _not_looked(screen, found.not_looked)
    screen.advise()
    if sarif:
        screen.write(sarif_text(found, root=folder.root, version=__version__, refused=refused))
    elif junit:
        screen.write(review_junit(found, job=report.job.design.job.name, refuse_at=refuse_at, at=now))
    else:
        screen.document("refused" if refused else "passed", _data(report, refuse_at))
    return 1 if refused else 0


def _standing(report: ReviewReport, refuse_at: Severity, *, refused: bool) -> str:
    """Where the job stands, and what is next."""
    found, name = report.review, report.job.design.job.name
    counts = Counter(finding.severity for finding in found.kept)
    told = ", ".join(_counted(counts[severity], severity.value) for severity in Severity)
    looked = f"{len(found.looked)} of {len(found.looked) + len(found.not_looked)} rules looked"
    looked += f", {len(found.unsent)} more look with --live" if found.unsent else ""
    if refused:
        return f"{name}: refused at {refuse_at.value}: {told}; {looked}"
    after = "; next: staddle place" if report.job.settled is None else ""
    return f"{name}: {told}; {looked}{after}"


def _counted(number: int, noun: str) -> str:
    return f"{number or 'no'} {noun}" + ("" if number == 1 else "s")


def _waived(screen: Screen, report: ReviewReport) -> None:
    if report.review.waived:
        screen.show()
        screen.show("waived")
    for one in report.review.waived:
        screen.show(f"  {one.finding.severity.value:<5} {one.finding.rule}: {one.finding.what}")
        screen.show(f"        by {one.by} until {one.until}: {one.reason}")


def _not_looked(screen: Screen, not_looked: Sequence[tuple[str, str]]) -> None:
    reasons: dict[str, list[str]] = {}
    for name, why in not_looked:
        reasons.setdefault(why, []).append(name)
    if reasons:
        screen.show()
        screen.show("not looked, so not passed")
    for why, names in reasons.items():
        screen.show(f"  {why}: {', '.join(names)}")


def _agreed(screen: Screen, plan: LivePlan, *, yes: bool) -> bool:
    """List every probe, then ask."""
    screen.say(f"{len(plan.probes)} probes, each read-only, from this machine:")
    for line in plan.lines():
        screen.say(f"  {line}")
    return confirm("Send them?", yes=yes)


def _data(report: ReviewReport, refuse_at: Severity) -> Mapping[str, object]:
    return {
        "refuse_at": refuse_at.value,
        "surveyed": report.survey.surveyed,
        "survey_age_days": report.survey.age_days,
        "survey": report.survey,
        "review": report.review,
        "sights": report.sights,
    }
