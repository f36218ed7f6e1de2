"""place: find the placement of one job or of several together, or keep the settled one; settle it when it is agreed to."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property

from staddle.design.sentences import find_apart_kind
from staddle.estate.survey import SurveyStanding
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.gather import Gathered, bookings_of_others, gather, gather_together
from staddle.jobs.survey import refuse_old_survey, survey_findings
from staddle.kernel import Fault, Finding, InputRefused, NotAllowed, StaddleError, digest_of
from staddle.kernel.likeness import did_you_mean
from staddle.package.model import Package
from staddle.placement.keeping import Keeping, keeping_of
from staddle.placement.mends import COSTS, Change
from staddle.placement.model import (
    BestShown,
    ConflictRule,
    GoodWithBound,
    InputInvalid,
    Mend,
    NoneExists,
    Outcome,
    Placement,
    Problem,
)
from staddle.placement.paper import placement_text
from staddle.placement.problem import ClusterAsk, problem_from, problem_of_many
from staddle.placement.solve import kept, solve
from staddle.placement.solving import TimeIsUp
from staddle.placement.why import Why
from staddle.placement.why import why as why_not

__all__ = ["Chosen", "Kept", "PlaceReport", "TimeIsUp", "found_placement", "place", "settle", "why"]

_WEAKER = 4.0  # what makes a cluster weaker comes after what must be bought


@dataclass(frozen=True, slots=True, kw_only=True)
class Kept:
    """The settled placement still meets every rule. It was not compared with others, so it is not called the best."""

    placement: Placement


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """The engineer put members elsewhere than the search did (jobs/move.py). Every rule holds; ``text`` tells what it costs."""

    placement: Placement
    text: str


@dataclass(frozen=True, kw_only=True)
class PlaceReport:
    """The question and its outcome. ``jobs`` are all that were placed together, the job itself first.

    ``survey`` is how old the survey is that it stands on, ``findings`` say where that is too old.
    """

    job: Gathered
    jobs: tuple[Gathered, ...]
    problem: Problem
    outcome: Outcome | Kept | Chosen
    survey: SurveyStanding
    findings: tuple[Finding, ...] = ()

    @cached_property
    def keeping(self) -> Keeping | None:
        """What is to be set on the platform so that it stays like this; None without a placement."""
        placement = found_placement(self.outcome)
        return None if placement is None else keeping_of(self.problem, placement.seats)

    @property
    def problem_digest(self) -> str:
        """Digest of the question without what was settled before: it tells whether the same question is asked.

        Scenarios stand in it as the sentences that they come from: of "any 2 hosts" there are millions.
        """
        problem, reserve = self.problem, self.problem.reserve
        after = reserve and (
            tuple((row.cluster, row.sentence, row.least_data, row.others_restart) for row in reserve.survive),
            reserve.machines,
            reserve.stands,
            reserve.apart_after,
        )
        return digest_of((problem.members, problem.hosts, problem.pools, problem.clusters, after))


def place(
    folder: JobFolder,
    now: datetime,
    *,
    also: Sequence[JobFolder] = (),
    anew: bool = False,
    settling: bool = False,
    progress: Callable[[str], None] | None = None,
) -> PlaceReport:
    """Answer the placement question of a job, or of several jobs of one estate together.

    Args: also: the other jobs; anew: search even though the settled placement is valid; settling: it is asked in order to
        settle it.
    Raises: NotAllowed: to be settled, and the survey is past its limit. InputRefused: a job cannot be read, they do not share an estate, or the question itself is wrong.
    """
    jobs = gather_together((folder, *also), now) if also else (gather(folder, now),)
    for job in jobs if settling else ():
        refuse_old_survey(job, now)
    _refuse_unknown_kinds(jobs)
    problem = jobs[0].get_problem() if len(jobs) == 1 else _together(jobs, now)
    settled = None if anew else kept(problem)
    if settled is not None:
        return _report(jobs, problem, Kept(placement=settled), now)
    others = tuple(_other_designs(jobs[0], now)) if len(jobs) == 1 else ()
    outcome = solve(problem, progress=progress, others=others)
    if isinstance(outcome, InputInvalid):
        raise InputRefused(*outcome.faults)
    if isinstance(outcome, NoneExists):
        rules = tuple(_located(rule, jobs) for rule in outcome.conflict)
        outcome = replace(outcome, conflict=rules)
    return _report(jobs, problem, outcome, now)


def _report(
    jobs: tuple[Gathered, ...], problem: Problem, outcome: Outcome | Kept, now: datetime
) -> PlaceReport:
    return PlaceReport(
        job=jobs[0],
        jobs=jobs,
        problem=problem,
        outcome=outcome,
        survey=jobs[0].survey(now),
        findings=survey_findings(jobs[0], now),
    )


def why(report: PlaceReport, *, member: str, host: str) -> Why:
    """Why that member does not stand on that host, against the placement of the report.

    Raises: InputRefused: no such member or host. NotAllowed: there is no placement to compare with.
    """
    placement = found_placement(report.outcome)
    if placement is None:
        raise NotAllowed.one(
            "there is no placement to compare with", mend="look at the rules in conflict first"
        )
    known = (("member", member, report.problem.members), ("host", host, report.problem.hosts))
    faults = [
        Fault(
            what=f'there is no {kind} "{name}"',
            why=f"known are {', '.join(row.name for row in rows[:12])}{' …' if len(rows) > 12 else ''}",
        )
        for kind, name, rows in known
        if name not in {row.name for row in rows}
    ]
    if faults:
        raise InputRefused(*faults)
    return why_not(report.problem, placement.seats, member=member, host=host)


def found_placement(outcome: Outcome | Kept | Chosen) -> Placement | None:
    """The placement of an outcome that has one."""
    return outcome.placement if isinstance(outcome, BestShown | GoodWithBound | Kept | Chosen) else None


def settle(report: PlaceReport, *, by: str, on: date) -> None:
    """Write placement.yaml of each job: from now on it is kept while it is valid.

    Raises: NotAllowed: there is no placement to settle.
    """
    placement = found_placement(report.outcome)
    if placement is None:
        raise NotAllowed.one(
            "there is no placement to settle", mend="change the design or the estate, then place again"
        )
    for job in report.jobs:
        own = {member.name for member in job.design.members}
        part = replace(
            placement,
            seats=tuple(seat for seat in placement.seats if seat.member in own),
            reasons=tuple(row for row in placement.reasons if row[0] in own),
        )
        text = placement_text(part, problem_digest=report.problem_digest, settled_by=by, settled_on=on)
        write_text(job.folder.placement, text)


def _together(jobs: Sequence[Gathered], now: datetime) -> Problem:
    first = jobs[0]
    faults: list[Fault] = []
    for job in jobs[1:]:
        if job.estate_folder.resolve() != first.estate_folder.resolve():
            faults.append(
                Fault(
                    what=f'job "{job.design.job.name}" has another estate than "{first.design.job.name}"',
                    where=job.places.find("job.estate"),
                    mend="place jobs together that share one estate folder",
                )
            )
    names = [job.design.job.name for job in jobs]
    faults += _doubled("job", names)
    faults += _doubled("member", [member.name for job in jobs for member in job.design.members])
    if faults:
        raise InputRefused(*faults)
    return problem_of_many(
        tuple(
            ClusterAsk(
                name=job.design.job.name,
                design=job.design,
                package=job.package,
                settled=() if job.settled is None else job.settled.seats,
                limits=job.limits,
            )
            for job in jobs
        ),
        estate=first.reading.estate,
        bookings=bookings_of_others(first.estate_folder, first.reading.estate, names, now),
    )


def _refuse_unknown_kinds(jobs: Sequence[Gathered]) -> None:
    """Every row of ``apart`` that speaks of a kind of domain which the estate does not have, at its line."""
    faults = []
    for job in jobs:
        known = list(dict.fromkeys(("host", "pool", *(one.kind for one in job.reading.estate.domains))))
        for number, row in enumerate(job.design.apart):
            kind = find_apart_kind(row)
            if kind is not None and kind not in known:
                mend = did_you_mean(kind, known) or f"the estate has {', '.join(known)}"
                where = _place_of(job, f"apart[{number}]", jobs)
                faults.append(
                    Fault(what=f'"{row}": there is no kind of domain "{kind}"', where=where, mend=mend)
                )
    if faults:
        raise InputRefused(*faults)


def _place_of(job: Gathered, key: str, jobs: Sequence[Gathered]) -> str:
    place = job.places.find(key)
    return place if len(jobs) == 1 else f"{job.folder.root.name}/{place}"


def _doubled(noun: str, names: Sequence[str]) -> Iterator[Fault]:
    for name in dict.fromkeys(names):
        if names.count(name) > 1:
            yield Fault(what=f'two of the jobs have a {noun} "{name}"', mend="give them names of their own")


def _located(rule: ConflictRule, jobs: Sequence[Gathered]) -> ConflictRule:
    """With file, line and column of the design that asks for it; the estate's folder where the estate sets it."""
    job = next((one for one in jobs if one.design.job.name == rule.cluster), jobs[0])
    if not rule.key:
        return replace(rule, where=f"{job.design.job.estate}")
    return replace(rule, where=_place_of(job, rule.key, jobs))


def _other_designs(job: Gathered, now: datetime) -> Iterator[Change]:
    """The same question with another size, thin disks, no room kept for snapshots, or a member fewer."""
    design, package = job.design, job.package
    bookings = bookings_of_others(job.estate_folder, job.reading.estate, [design.job.name], now)
    storage = design.storage
    changes: list[tuple[str, float, dict[str, object]]] = [
        (
            f"take size {size} instead of {job.size_id}",
            0.5,
            {"package": design.package.model_copy(update={"size": size})},
        )
        for size in _smaller_sizes(package, job.size_id)
    ]
    if any(row != "thin" for row in (storage.allocation, *(disk.allocation for disk in storage.disks))):
        disks = tuple(disk.model_copy(update={"allocation": "thin"}) for disk in storage.disks)
        thin = storage.model_copy(update={"allocation": "thin", "disks": disks})
        changes.append(
            ("let disks be written as they fill (storage.allocation: thin)", 0.3, {"storage": thin})
        )
    if storage.snapshot_percent:
        bare = storage.model_copy(update={"snapshot_percent": 0})
        changes.append(("keep no room for snapshots (storage.snapshot_percent: 0)", 0.2, {"storage": bare}))
    fewer = [member for member in design.members if member.data and member.leads == "never"]
    if fewer and sum(member.data for member in design.members) > 1:
        rest = tuple(member for member in design.members if member is not fewer[-1])
        changes.append((f"one member fewer: leave out {fewer[-1].name}", _WEAKER, {"members": rest}))
    for text, more, update in changes:
        other = design.model_copy(update=update)
        try:
            problem = problem_from(
                design=other,
                estate=job.reading.estate,
                package=package,
                bookings=bookings,
                settled=() if job.settled is None else job.settled.seats,
                limits=job.limits,
            )
        except StaddleError:
            continue  # that size lacks something of the design; it is no mend
        yield Mend(text=text, kind="another design", cost=COSTS["another design"] + more), problem


def _smaller_sizes(package: Package, size_id: str) -> Iterator[str]:
    present = package.get_hardware(size_id)
    for hardware in package.hardware:
        less = (hardware.memory_bytes, hardware.processors) < (present.memory_bytes, present.processors)
        if less:
            yield hardware.size_id
