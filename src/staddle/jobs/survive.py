"""survive: what each failure takes, whether the cluster serves then, and where everything restarts; emptying hosts."""

import multiprocessing
import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from typing import Final

from staddle.design.sentences import AnyOf, parse_survive
from staddle.dossier.survive_drawing import failures_svg
from staddle.failures.domains import Contents, contents
from staddle.failures.reachable import cut_off
from staddle.failures.restart import RestartTest
from staddle.failures.running import Running, Stand
from staddle.failures.scenario import named, singles
from staddle.jobs.folder import JobFolder, write_text
from staddle.jobs.gather import Gathered
from staddle.jobs.place import Kept, PlaceReport, found_placement, place
from staddle.kernel import pretty_json
from staddle.placement.after import least_data
from staddle.placement.data import Tables
from staddle.placement.model import Reserve, Seat
from staddle.placement.reserve import ReserveCheck
from staddle.survival.evacuate import Evacuation, evacuate
from staddle.survival.failuretable import Ask, FailureTable, failure_table
from staddle.survival.judge import Judge, Judgement
from staddle.survival.serving import Ours
from staddle.survival.times import COMMON_PRACTICE

__all__ = [
    "Basis",
    "EvacuationReport",
    "Ground",
    "NamedReport",
    "SurviveReport",
    "empty_hosts",
    "empty_on",
    "fail",
    "fail_on",
    "ground_of",
    "survive",
    "table_on",
]

_MANY_HOSTS: Final = 2_000
"""From so many hosts on the pairs may be worth starting processes for: below, one takes seconds (measured)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """On what an answer rests. ``placement``: settled, found, or none: then the estate is judged alone.

    ``least_data`` is how many data members the cluster needs; ``times`` says where the ranges of time come from.
    """

    job: str
    cluster: str
    surveyed: date
    placement: str
    members: int
    least_data: int
    hosts: int
    guests: int
    times: str = COMMON_PRACTICE.origin


@dataclass(frozen=True, slots=True, kw_only=True)
class SurviveReport:
    """The failure table and its basis; ``files`` were written, below the job folder."""

    basis: Basis
    table: FailureTable
    files: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedReport:
    """One failure that a person named, in full."""

    basis: Basis
    judgement: Judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class EvacuationReport:
    """Whether hosts may be emptied."""

    basis: Basis
    evacuation: Evacuation


def survive(
    folder: JobFolder,
    now: datetime,
    *,
    doubles: bool = True,
    executor: Executor | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> SurviveReport:
    """Judge every single failure, every two hosts, and what the design names; write records/survive.json and .svg.

    Args: executor: takes chunks of the pairs; without one, a large estate starts processes on this machine.
    Raises: InputRefused: the job cannot be read, or names what the estate does not have.
    """
    ground = ground_of(place(folder, now, progress=progress))
    table = table_on(ground, doubles=doubles, executor=executor, progress=progress)
    write_text(folder.records / "survive.json", pretty_json({"basis": ground.basis, "table": table}))
    basis = ground.basis
    drawing = failures_svg(
        table.singles,
        [member.name for member in ground.members],
        cluster=basis.cluster,
        note=f"job {basis.job}; surveyed {basis.surveyed}; placement {basis.placement}; computed {now.date()}",
    )
    write_text(folder.records / "survive.svg", drawing)
    return SurviveReport(basis=basis, table=table, files=("records/survive.json", "records/survive.svg"))


def table_on(
    ground: "Ground",
    *,
    doubles: bool = True,
    executor: Executor | None = None,
    progress: Callable[[str], None] = lambda _: None,
) -> FailureTable:
    """The same table of a job that was read before. Writes nothing. Args: as survive."""
    estate = ground.job.reading.estate
    with _processes(len(estate.hosts) if doubles else 0, executor) as workers:
        return failure_table(
            ground.judge,
            cut_off(singles(estate), estate.hosts),
            asked=tuple(_asked(ground.reserve)),
            with_doubles=doubles,
            executor=workers,
            progress=progress,
        )


def fail(folder: JobFolder, now: datetime, names: Sequence[str]) -> NamedReport:
    """Judge hosts, pools or domains of these names failed together. Writes nothing.

    Raises: InputRefused: the job cannot be read, or a name is unknown.
    """
    return fail_on(ground_of(place(folder, now)), names)


def fail_on(ground: "Ground", names: Sequence[str]) -> NamedReport:
    """The same of a job that was read before: many failures of one ground are judged quickly.

    Raises: InputRefused: a name is unknown.
    """
    estate = ground.job.reading.estate
    scenario = cut_off([named(estate, names, ground.inside)], estate.hosts)[0]
    return NamedReport(basis=ground.basis, judgement=ground.judge.judge(scenario))


def empty_hosts(folder: JobFolder, now: datetime, hosts: Sequence[str]) -> EvacuationReport:
    """Whether these hosts may be emptied now, and what the next failure would do then. Writes nothing.

    Raises: InputRefused: the job cannot be read, or a host is unknown.
    """
    return empty_on(ground_of(place(folder, now)), hosts)


def empty_on(ground: "Ground", hosts: Sequence[str]) -> EvacuationReport:
    """The same of a job that was read before. Raises: InputRefused: a host is unknown."""
    estate = ground.job.reading.estate
    return EvacuationReport(
        basis=ground.basis,
        evacuation=evacuate(
            ground.machines,
            ground.stands,
            hosts,
            members=ground.members,
            least_data=ground.basis.least_data,
            next_failures=cut_off(singles(estate), estate.hosts),
        ),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """A job with everything that stands on its estate, ready for many questions. ``placed`` is its placement.

    ``seats`` are those that the members are taken to stand in.
    """

    placed: PlaceReport
    seats: tuple[Seat, ...]
    basis: Basis
    machines: tuple[Running, ...]
    stands: tuple[Stand, ...]
    reserve: Reserve
    members: tuple[Ours, ...]

    @property
    def job(self) -> Gathered:
        """The job as it was read."""
        return self.placed.job

    @cached_property
    def inside(self) -> Mapping[tuple[str, str], Contents]:
        """What fails with each (kind, name); worked out at the first question."""
        return contents(self.job.reading.estate)

    @cached_property
    def judge(self) -> Judge:
        """Judges failures on this ground; made at the first question."""
        test = RestartTest(self.machines, self.stands)
        return Judge(test, self.members, least_data=self.basis.least_data)


def ground_of(placed: PlaceReport, *, seats: tuple[Seat, ...] | None = None) -> Ground:
    """What stands on the estate with the members placed. Args: seats: other seats than the report's, one a member."""
    job, problem, placement = placed.job, placed.problem, found_placement(placed.outcome)
    moved = seats is not None
    if seats is None:
        seats = () if placement is None else placement.seats
    design, estate = job.design, job.reading.estate
    reserve = problem.reserve or Reserve(survive=())
    names = [seat.member for seat in seats]
    # A member that the survey has met already is not counted twice.
    guests = tuple(machine for machine in reserve.machines if machine.name not in names)
    members = tuple(
        replace(machine, name=name)
        for machine, name in zip(
            ReserveCheck(Tables(problem)).running(seats) if seats else (), names, strict=True
        )
    )
    ours = tuple(
        Ours(name=m.name, data=m.data, votes=m.votes, leads=m.leads)
        for m in design.members
        if m.name in names
    )
    settled = "settled" if isinstance(placed.outcome, Kept) else "found, not settled"
    return Ground(
        placed=placed,
        seats=seats,
        basis=Basis(
            job=design.job.name,
            cluster=design.job.cluster,
            surveyed=estate.surveyed,
            placement=("moved, not settled" if moved else settled) if seats else "none",
            members=len(members),
            least_data=max(1, least_data(design)) if any(m.data for m in ours) else 0,
            hosts=len(estate.hosts),
            guests=len(guests),
        ),
        machines=(*guests, *members),
        stands=reserve.stands,
        reserve=reserve,
        members=ours,
    )


def _asked(reserve: Reserve) -> Iterator[Ask]:
    for row in reserve.survive:
        yield Ask(
            sentence=row.sentence,
            count=len(row.scenarios),
            scenarios=iter(row.scenarios),
            others_restart=row.others_restart,
            two_hosts=parse_survive(row.sentence) == AnyOf(count=2, kind="host"),
        )


@contextmanager
def _processes(hosts: int, executor: Executor | None) -> Iterator[Executor | None]:
    count = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if executor is not None or hosts < _MANY_HOSTS or count < 2:
        yield executor
        return
    # Not forked: threads of the terminal's progress may hold locks.
    with ProcessPoolExecutor(count, mp_context=multiprocessing.get_context("spawn")) as workers:
        yield workers
